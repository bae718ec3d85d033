//! Who is declared no more has no session any more, also where nobody comes with one meanwhile.

use crate::error_chain::error_chain;
use crate::store::{StoreError, doors};

use super::opened::{Farm, Opened};

/// Ends the sessions of who is not declared, at each configuration that is taken over.
pub(super) async fn forget(mut farm: Farm) {
    loop {
        let opened = farm.borrow_and_update().clone();
        if let Some(opened) = opened
            && let Err(error) = forget_of(opened).await
        {
            let error = error_chain(&error);
            tracing::warn!(error, "sessions of who is declared no more are not ended");
        }
        if farm.changed().await.is_err() {
            return;
        }
    }
}

async fn forget_of(opened: Opened) -> Result<(), StoreError> {
    let declared = opened.config.people.iter();
    let declared: Vec<_> = declared.map(|person| person.id.clone()).collect();
    opened
        .store
        .write(move |t| doors::end_sessions_but_of(t, &declared))
        .await
}
