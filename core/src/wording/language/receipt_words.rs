//! What stands in receipts.

/// What stands in receipts.
#[derive(Debug)]
pub struct ReceiptWords {
    /// Begins the subject, after the day.
    pub subject: &'static str,
    /// The heading, before the person's name.
    pub heading: &'static str,
    /// Before the day of an answer.
    pub answer_of: &'static str,
    /// Above what was stored.
    pub stored: &'static str,
    /// Where nothing was.
    pub nothing_stored: &'static str,
    /// Above lines that were not understood.
    pub unclear: &'static str,
    /// Before what was probably meant.
    pub probably: &'static str,
    /// Above lines that wait for the word that they are right.
    pub asked: &'static str,
    /// What to do about those.
    pub say_sure: &'static str,
    /// Above what was done.
    pub done: &'static str,
    /// Above what could not be done.
    pub not_done: &'static str,
    /// Above what the readings would confirm.
    pub would: &'static str,
    /// How to mend it.
    pub correct: &'static str,
    /// Nouns of counts, of one and of more: eggs, moths, males, females.
    pub counts: [[&'static str; 2]; 4],
    /// Of a trap that could not be read.
    pub unreadable: &'static str,
    /// Of eggs that stay on.
    pub eggs_left: &'static str,
    /// Before parts that were changed.
    pub changed: &'static str,
    /// Before the reading before.
    pub was: &'static str,
    /// Where there is none before.
    pub first_reading: &'static str,
    /// Before what stood there before it was corrected.
    pub corrected: &'static str,
    /// Of what stood there already.
    pub stood: &'static str,
    /// Before the most that was usual.
    pub unusual: &'static str,
    /// Before the sum of a block.
    pub sum: &'static str,
    /// Of so many traps, before the number.
    pub traps: &'static str,
    /// Of a line whose trap and day somebody else has another count for.
    pub other_person: &'static str,
    /// Of what names no day, where that of the answer need not be meant.
    pub no_day: &'static str,
    /// That the answer before was taken back.
    pub undone: &'static str,
    /// That there was nothing to take back.
    pub nothing_to_undo: &'static str,
    /// That nothing waited for a word.
    pub nothing_asked: &'static str,
    /// Why an order needs a proof of who sent it, where no server is named.
    pub no_proof_set: &'static str,
    /// The same where the server did not prove it.
    pub not_proved: &'static str,
    /// Of an order to who may not give it.
    pub not_yours: &'static str,
    /// Of an answer with more lines than are read.
    pub too_long: &'static str,
    /// Of a name that is none.
    pub no_such_name: &'static str,
    /// Of a day that lies ahead or too long ago.
    pub no_such_day: &'static str,
    /// Of a trap that has two readings of one day.
    pub twice: &'static str,
    /// Of a line that is meant for a person, where nothing else stands in the answer.
    pub nobody_reads: &'static str,
    /// Of a line that is not understood.
    pub not_understood: &'static str,
}
