//! So many connections at once and no more. Where all seats are taken, whoever has kept us waiting longest for the
//! rest of a request gives way to who comes: half requests hold nobody up.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::Notify;
use tokio::task::AbortHandle;
use tokio::time::Instant;

/// The most connections at once.
const SEATS: usize = 64;

/// What a connection does, and since when.
#[derive(Debug)]
pub(super) struct Stage(Mutex<(Doing, Instant)>);

/// What a connection does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Doing {
    /// We wait for them: for a request, the rest of one, or that an answer is taken.
    Waiting,
    /// They wait for us.
    Working,
}

impl Stage {
    fn new() -> Self {
        Self(Mutex::new((Doing::Waiting, Instant::now())))
    }

    /// From now on we wait for them.
    pub(super) fn waits(&self) {
        *lock(&self.0) = (Doing::Waiting, Instant::now());
    }

    /// From now on they wait for us.
    pub(super) fn works(&self) {
        *lock(&self.0) = (Doing::Working, Instant::now());
    }

    /// Since when we have been waiting for them, if we are.
    pub(super) fn waiting_since(&self) -> Option<Instant> {
        let (doing, since) = *lock(&self.0);
        (doing == Doing::Waiting).then_some(since)
    }
}

/// All seats.
#[derive(Debug, Default)]
pub(super) struct Seats {
    taken: Mutex<Taken>,
    freed: Notify,
}

#[derive(Debug, Default)]
struct Taken {
    next: u64,
    seats: BTreeMap<u64, (Arc<Stage>, Option<AbortHandle>)>,
}

/// One seat, free again when this goes.
#[derive(Debug)]
pub(super) struct Seat {
    number: u64,
    stage: Arc<Stage>,
    seats: Arc<Seats>,
}

impl Seats {
    /// Takes a seat, once there is one.
    pub(super) async fn take(self: &Arc<Self>) -> Seat {
        loop {
            let mut freed = std::pin::pin!(self.freed.notified());
            // One that is freed from here on counts.
            freed.as_mut().enable();
            if let Some(seat) = self.free() {
                return seat;
            }
            self.make_room();
            freed.await;
        }
    }

    fn free(self: &Arc<Self>) -> Option<Seat> {
        let mut taken = lock(&self.taken);
        if taken.seats.len() >= SEATS {
            return None;
        }
        let (number, stage) = (taken.next, Arc::new(Stage::new()));
        taken.next += 1;
        taken.seats.insert(number, (Arc::clone(&stage), None));
        Some(Seat {
            number,
            stage,
            seats: Arc::clone(self),
        })
    }

    /// Ends the connection that has kept us waiting longest. Where all of them wait for us, nobody gives way.
    fn make_room(&self) {
        let taken = lock(&self.taken);
        let waiting = taken.seats.values().filter_map(|(stage, abort)| {
            let abort = abort.as_ref().filter(|abort| !abort.is_finished())?;
            Some((stage.waiting_since()?, abort))
        });
        if let Some((_, abort)) = waiting.min_by_key(|(since, _)| *since) {
            abort.abort();
        }
    }

    /// Waits until all seats are free.
    pub(super) async fn are_empty(&self) {
        loop {
            let mut freed = std::pin::pin!(self.freed.notified());
            freed.as_mut().enable();
            if lock(&self.taken).seats.is_empty() {
                return;
            }
            freed.await;
        }
    }

    /// Ends all connections.
    pub(super) fn clear(&self) {
        self.clear_of(|_| true);
    }

    /// Ends those that keep us waiting.
    pub(super) fn clear_of_the_waiting(&self) {
        self.clear_of(|stage| stage.waiting_since().is_some());
    }

    fn clear_of(&self, ends: impl Fn(&Stage) -> bool) {
        for (stage, abort) in lock(&self.taken).seats.values() {
            abort
                .iter()
                .filter(|_| ends(stage))
                .for_each(AbortHandle::abort);
        }
    }
}

impl Seat {
    /// What whoever sits here does.
    pub(super) const fn stage(&self) -> &Arc<Stage> {
        &self.stage
    }

    /// Lets some work sit here until it ends.
    pub(super) fn sits<F>(self, work: impl FnOnce(Self) -> F)
    where
        F: Future<Output = ()> + Send + 'static,
    {
        let (number, seats) = (self.number, Arc::clone(&self.seats));
        let abort = tokio::spawn(work(self)).abort_handle();
        if let Some((_, kept)) = lock(&seats.taken).seats.get_mut(&number) {
            *kept = Some(abort);
        }
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        lock(&self.seats.taken).seats.remove(&self.number);
        self.seats.freed.notify_waiters();
    }
}

/// Nothing panics while it holds one of these, and what is in them is whole at any time.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use std::future::pending;
    use std::time::Duration;

    use tokio::time::timeout;

    use super::*;

    async fn fill(seats: &Arc<Seats>, works: impl Fn(usize) -> bool) {
        for number in 0..SEATS {
            let seat = seats.take().await;
            if works(number) {
                seat.stage().works();
            }
            seat.sits(|seat| async move {
                pending::<()>().await;
                drop(seat);
            });
        }
    }

    #[tokio::test]
    async fn whoever_kept_us_waiting_longest_gives_way() {
        let seats = Arc::new(Seats::default());
        fill(&seats, |number| number < 3).await;
        let _seat = seats.take().await;
        let taken = lock(&seats.taken);
        assert_eq!(taken.seats.len(), SEATS);
        assert!(!taken.seats.contains_key(&3), "the first one that waits");
        assert!((0..3).all(|number| taken.seats.contains_key(&number)));
    }

    #[tokio::test]
    async fn nobody_gives_way_whose_request_is_being_answered() {
        let seats = Arc::new(Seats::default());
        fill(&seats, |_| true).await;
        let take = timeout(Duration::from_millis(50), seats.take());
        assert!(take.await.is_err());
        seats.clear();
        let _seat = seats.take().await;
    }

    #[tokio::test]
    async fn at_the_end_it_is_waited_until_all_seats_are_free() {
        let seats = Arc::new(Seats::default());
        fill(&seats, |_| true).await;
        let empty = timeout(Duration::from_millis(50), seats.are_empty());
        assert!(empty.await.is_err());
        seats.clear();
        seats.are_empty().await;
    }
}
