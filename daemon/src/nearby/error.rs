//! Why a list of stations could not be read.

use crate::feed::{Excerpt, GetError};

/// A list of stations that could not be read.
#[derive(Debug, thiserror::Error)]
pub enum NearbyError {
    /// Nothing came.
    #[error("{service}")]
    Get {
        /// Whose list.
        service: &'static str,
        /// What happened.
        source: GetError,
    },
    /// What came is no list of stations.
    #[error("{service}: the answer is not what it describes, it begins {answer}")]
    NotAList {
        /// Whose list.
        service: &'static str,
        /// Its beginning.
        answer: Excerpt,
    },
}

impl NearbyError {
    pub(super) fn get(service: &'static str) -> impl FnOnce(GetError) -> Self {
        move |source| Self::Get { service, source }
    }

    pub(super) fn not_a_list(service: &'static str, answer: &[u8]) -> Self {
        Self::NotAList {
            service,
            answer: Excerpt::of_answer(answer),
        }
    }
}
