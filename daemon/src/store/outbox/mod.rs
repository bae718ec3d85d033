//! Mails waiting, sent and given up.

mod content;
mod new_mail;
mod queued;
mod tries;

pub use content::{ToCompose, contents_of_identity, freeze, to_compose};
pub(super) use content::{contents_of, prune, rewrite};
pub use new_mail::{NewMail, queue};
pub(super) use queued::mails;
pub use queued::read_queue;
#[cfg(test)]
pub(super) use tries::count_try;
pub use tries::{
    End, Waiting, count_refusal, end_unknown_before, expire_queued_up_to, give_up, keep, mark_sent,
    may_leave, next, note_unknown, set_doubtful, take,
};

#[cfg(test)]
mod tests;
