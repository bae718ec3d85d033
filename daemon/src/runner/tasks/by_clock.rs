//! What a step does only by a clock that is believed, and who hears when it holds up the work for a day.

use chrono::{DateTime, TimeDelta, Utc};

use super::{Looked, Task, Tasks};
use crate::error_chain::error_chain;
use crate::runner::gate::{Doubt, Verdict, may_tell};
use crate::store::set_aside::Ahead;

/// Who looks after the box hears of a clock that has held up the work for so long.
const TOLD_AFTER: TimeDelta = TimeDelta::days(1);

impl Tasks {
    /// How many witnesses agree with the clock, where it is believed: by a wrong one, another day than today would
    /// be told. Where nobody says anything of it, whoever can be asked is asked first.
    pub(super) async fn believed(
        &mut self,
        now: DateTime<Utc>,
        newest_fetch: Option<DateTime<Utc>>,
    ) -> Option<usize> {
        let verdict = self
            .time
            .judge(now, newest_fetch, self.workshop.client.heard());
        let doubt = match &verdict {
            Verdict::Believed(_) => None,
            Verdict::Doubted(doubt) => Some(doubt.to_string()),
        };
        if self
            .said
            .is_news("clock", doubt.as_deref().unwrap_or_default())
        {
            self.workshop.note_doubt(doubt, now).await;
        }
        let waits = !self.time.has_asked() || self.ask_time.is_some();
        let can_ask = waits && self.workshop.can_ask_time();
        if let Verdict::Doubted(doubt) = &verdict
            && *doubt != Doubt::NotYet
        {
            let right = self.time.probable(doubt, now);
            self.is_held(&doubt.to_string(), right).await;
        }
        match verdict {
            Verdict::Believed(agree) if agree > 0 || !can_ask => {
                self.time.believe(now);
                Some(agree)
            }
            _ => {
                self.ask_time();
                None
            }
        }
    }

    /// Sets aside what a clock dated ahead, instants alone at once and all else when two witnesses agree with this one,
    /// and says whether the step goes on.
    pub(super) async fn set_aside(
        &mut self,
        looked: &Looked,
        agree: usize,
        now: DateTime<Utc>,
    ) -> bool {
        if looked.ahead == Ahead::Nothing {
            self.said.is_well("ahead");
            return true;
        }
        if looked.ahead == Ahead::Traces || agree >= 2 {
            match self.workshop.set_aside(now).await {
                // What was read is not what is stored any more.
                Ok(_) => self.said.is_well("ahead"),
                Err(error) => {
                    let error = error_chain(&error);
                    if self.said.is_news("ahead", &error) {
                        tracing::error!(error, "what was dated ahead cannot be set aside");
                    }
                }
            }
            return false;
        }
        self.ask_time();
        self.is_held(
            "records are dated later than now, and fewer than two others agree with the clock",
            Some(now),
        )
        .await;
        if self.said.is_news("ahead", "") {
            tracing::warn!(
                "records are dated later than now; no day is told and no mail sent until two witnesses agree with \
                 the clock, or `duskflight clock mend` sets them aside"
            );
        }
        true
    }

    fn ask_time(&mut self) {
        if self.ask_time.is_none() && self.workshop.can_ask_time() && self.time.asks_now() {
            let workshop = self.workshop.clone();
            self.ask_time = Some(Task::new("ask the time", async move {
                workshop.ask_time().await;
                Ok(())
            }));
        }
    }

    /// Whether today may be told, and what was told be mailed, by a clock with so many witnesses.
    pub(super) async fn may_tell(
        &mut self,
        looked: &Looked,
        agree: usize,
        now: DateTime<Utc>,
    ) -> bool {
        let (day, before) = (self.workshop.config.day_of(now), looked.told_before);
        if looked.ahead != Ahead::Nothing {
            return false;
        }
        if may_tell(agree, day, before, looked.newest.day) {
            self.said.is_well("silence");
            self.goes_on(now).await;
            return true;
        }
        self.ask_time();
        let why = "nothing was told for long, and fewer than two others agree with the clock";
        self.is_held(why, Some(now)).await;
        if self.said.is_news("silence", &day.to_string()) {
            tracing::warn!(%day, told_before = ?before, "after so long nothing is told until two witnesses agree with the clock");
        }
        false
    }

    /// The clock holds up what is due. After a day whoever looks after the box has a mail, where the right time is
    /// known well enough to date it; all other mails wait.
    async fn is_held(&mut self, why: &str, right: Option<DateTime<Utc>>) {
        let uptime = self.workshop.clock.uptime();
        let since = *self.held_since.get_or_insert(uptime);
        let Some(right) = right.filter(|_| uptime - since >= TOLD_AFTER) else {
            return;
        };
        if self.said.is_news("held up", "told") {
            self.workshop.tell_of_clock(Some(why), right).await;
        }
        if self.deliver.is_none() {
            let workshop = self.workshop.clone();
            self.deliver = Some(Task::new("deliver", async move {
                workshop.deliver_to_operators(right).await?;
                Ok(())
            }));
        }
    }

    /// Nothing of the clock holds up what is due.
    async fn goes_on(&mut self, now: DateTime<Utc>) {
        self.held_since = None;
        if self.said.is_news("held up", "") {
            self.workshop.tell_of_clock(None, now).await;
        }
    }
}
