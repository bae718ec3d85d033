//! Listening: sockets at the addresses that were declared, as long as they are there, and a bounded number of
//! connections.

mod addresses;
mod certificate;
mod doorstep;
mod seats;
mod talk;

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use tokio::task::JoinHandle;
use tokio::time::{MissedTickBehavior, interval, timeout};
use tokio_util::sync::CancellationToken;
use tokio_util::task::AbortOnDropHandle;

use crate::config::Page;
use certificate::Certificate;
use doorstep::Doorstep;
use seats::Seats;
use talk::Talk;

/// So often it is looked whether the addresses and the certificate are as before, and what failed is tried again.
const LOOK_AGAIN: Duration = Duration::from_secs(60);
/// Requests that are not there as a whole may take so long to come after a stop was asked for, and answers to be taken.
const WAIT_WITHIN: Duration = Duration::from_secs(2);
/// Answers under way may take so long to end after that; then they are cut off.
const STOP_WITHIN: Duration = Duration::from_secs(8);

/// Listens as declared until `stop`, and answers with `router`. What cannot be done is logged once and tried again.
pub(super) async fn listen(page: &Page, router: Router, stop: CancellationToken) {
    let seats = Arc::new(Seats::default());
    let mut listening = Listening {
        page,
        certificate: page.certificate.as_ref().map(Certificate::new),
        doorsteps: BTreeMap::new(),
        talk: Talk::new(router, stop.clone()),
        seats: Arc::clone(&seats),
        said: None,
    };
    let mut look = interval(LOOK_AGAIN);
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        tokio::select! {
            _ = look.tick() => listening.look(),
            () = stop.cancelled() => break,
        }
    }
    // Nobody else is let in.
    drop(listening);
    if timeout(WAIT_WITHIN, seats.are_empty()).await.is_err() {
        seats.clear_of_the_waiting();
    }
    if timeout(STOP_WITHIN, seats.are_empty()).await.is_err() {
        tracing::warn!("answers of the page were cut off: they took too long to end");
        seats.clear();
        seats.are_empty().await;
    }
}

/// What listens now.
struct Listening<'a> {
    page: &'a Page,
    certificate: Option<Certificate>,
    /// Each address with the task that accepts there; dropped, it lets go of it.
    doorsteps: BTreeMap<SocketAddr, AbortOnDropHandle<()>>,
    talk: Talk,
    seats: Arc<Seats>,
    /// The trouble that was logged last.
    said: Option<String>,
}

impl Listening<'_> {
    /// Listens where it should and does not, and no more where it does and should not.
    fn look(&mut self) {
        let trouble = self.try_all().err();
        if let Some(why) = trouble
            .as_ref()
            .filter(|why| self.said.as_ref() != Some(why))
        {
            let at = self.page.listen.to_string();
            tracing::error!(
                why,
                at,
                "the page cannot be shown; it is tried again each minute"
            );
        }
        if trouble.is_none() && self.said.is_some() {
            tracing::info!("the page can be shown again");
        }
        self.said = trouble;
    }

    fn try_all(&mut self) -> Result<(), String> {
        let acceptor = match &mut self.certificate {
            Some(certificate) => Some(certificate.look()?),
            None => None,
        };
        self.talk.by_tls(acceptor);
        let wanted = addresses::of(&self.page.listen)?;
        self.doorsteps
            .retain(|address, task| wanted.contains(address) && !task.is_finished());
        let mut trouble = Ok(());
        for address in wanted {
            if self.doorsteps.contains_key(&address) {
                continue;
            }
            match Doorstep::open(address) {
                Ok(doorstep) => self.begin(address, doorstep),
                Err(why) => trouble = Err(why),
            }
        }
        trouble
    }

    fn begin(&mut self, address: SocketAddr, doorstep: Doorstep) {
        let scheme = if self.certificate.is_some() {
            "https"
        } else {
            "http"
        };
        let here = doorstep.address().unwrap_or(address);
        tracing::info!("the page is at {scheme}://{here}/");
        let (talk, seats) = (self.talk.clone(), Arc::clone(&self.seats));
        let task: JoinHandle<()> = tokio::spawn(doorstep.let_in(talk, seats));
        self.doorsteps.insert(address, AbortOnDropHandle::new(task));
    }
}
