//! The farm on the office network: pages to look at, made from the view that is published.

mod asked;
mod block;
mod code;
mod day_rows;
mod days;
mod door;
mod farm;
mod frame;
mod framed;
mod guest;
mod headers;
mod health;
mod heard;
mod leavers;
mod listen;
mod mails;
mod opened;
mod page_error;
mod peer;
mod publisher;
mod reader;
mod reports;
mod round;
mod routes;
mod site;
mod station;
mod stations;
mod view;
mod visitor;

pub use code::Code;
pub use opened::{Farm, Opened};

use std::sync::Arc;

use tokio::sync::watch;
use tokio_util::sync::CancellationToken;
use tokio_util::task::AbortOnDropHandle;

use crate::clock::Clock;
use crate::config::Page;
use door::Keeper;
use site::Site;

/// Serves the page as declared until `stop` is cancelled, and ends within ten seconds of it. What cannot be done, such as
/// listening at an address that this machine does not have, is logged and tried again each minute.
pub async fn serve(page: Page, farm: Farm, clock: Arc<dyn Clock>, stop: CancellationToken) {
    let keeper = match Keeper::new(&page, farm.clone(), Arc::clone(&clock)) {
        Ok(keeper) => Arc::new(keeper),
        Err(error) => {
            return tracing::error!(%error, "the page cannot be shown without random numbers");
        }
    };
    let _forgetting = AbortOnDropHandle::new(tokio::spawn(leavers::forget(farm.clone())));
    let (views, published) = watch::channel(None);
    let publishing = publisher::publish(farm, views, Arc::clone(&clock));
    let _publishing = AbortOnDropHandle::new(tokio::spawn(publishing));
    let pages = routes::pages(Arc::new(Site { published, clock }));
    let router = door::guard(pages, routes::trimmings(), &keeper);
    listen::listen(&page, router, stop).await;
}
