//! Keeps the published view up to date: after each telling, each write, each reload and each midnight. It tells nothing.

use std::sync::Arc;
use std::time::Duration;

use chrono::NaiveDate;
use tokio::sync::watch;

use super::opened::{Farm, Opened};
use super::view::FarmView;
use crate::clock::Clock;
use crate::config::Config;
use crate::error_chain::error_chain;
use crate::store::StoreError;
use crate::store::changes::{Mark, version};
use crate::trim::trim;

/// So often it is looked whether the records changed.
const LOOK_EVERY: Duration = Duration::from_secs(15);

/// What a view was made from.
#[derive(Debug, Clone)]
struct Made {
    config: Arc<Config>,
    day: NaiveDate,
    mark: Mark,
    version: i64,
}

/// Publishes views of what is open, until whoever opens it has gone. While nothing is open nothing is published.
pub(super) async fn publish(
    mut farm: Farm,
    views: watch::Sender<Option<Arc<FarmView>>>,
    clock: Arc<dyn Clock>,
) {
    let mut made: Option<Made> = None;
    loop {
        let opened = farm.borrow_and_update().clone();
        let looked = match &opened {
            Some(opened) => refresh(opened, &mut made, &views, &clock).await,
            None => {
                made = None;
                views.send_replace(None);
                Ok(())
            }
        };
        // A handle that is kept would keep the records open.
        drop(opened);
        if let Err(error) = looked {
            tracing::warn!(
                error = error_chain(&error),
                "the page is not brought up to date"
            );
            made = None;
        }
        tokio::select! {
            changed = farm.changed() => if changed.is_err() { return },
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
    }
}

async fn refresh(
    opened: &Opened,
    made: &mut Option<Made>,
    views: &watch::Sender<Option<Arc<FarmView>>>,
    clock: &Arc<dyn Clock>,
) -> Result<(), StoreError> {
    let Opened { reader, config, .. } = opened;
    let now = clock.now();
    let day = config.day_of(now);
    let known = made.as_ref().map(|made| (made.version, made.mark));
    let (version, mark) = reader.read(move |c| where_it_stands(c, known)).await?;
    let is_same = made.as_ref().is_some_and(|made| {
        made.mark == mark && made.day == day && Arc::ptr_eq(&made.config, config)
    });
    if !is_same {
        let view = FarmView::make(config, reader, day, now).await?;
        views.send_replace(Some(Arc::new(view)));
        trim();
    }
    *made = Some(Made {
        config: Arc::clone(config),
        day,
        mark,
        version,
    });
    Ok(())
}

/// What the records stand at; the mark is read again only once somebody has written.
fn where_it_stands(
    connection: &rusqlite::Connection,
    known: Option<(i64, Mark)>,
) -> Result<(i64, Mark), StoreError> {
    let now = version(connection)?;
    match known {
        Some((at, mark)) if at == now => Ok((at, mark)),
        _ => Ok((now, Mark::read(connection)?)),
    }
}
