//! What pages are made from.

use std::sync::Arc;

use super::view::Published;
use crate::clock::Clock;

/// What pages are made from.
#[derive(Debug)]
pub(crate) struct Site {
    /// The newest view.
    pub(super) published: Published,
    /// The present.
    pub(super) clock: Arc<dyn Clock>,
}
