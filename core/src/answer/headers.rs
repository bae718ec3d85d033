//! The lines with which mail programs announce what they quote, in whatever language.

use std::ops::Range;

/// An announcement is broken over no more lines.
const MOST_LINES: usize = 3;
/// The words for "wrote", folded into lower case, of languages whose programs are common.
const WROTE: [&str; 22] = [
    "wrote",
    "writes",
    "escribió",
    "escribio",
    "schrieb",
    "écrit",
    "ecrit",
    "scritto",
    "escreveu",
    "skrev",
    "schreef",
    "geschreven",
    "napisał",
    "napisala",
    "kirjoitti",
    "írta",
    "yazdı",
    "napsal",
    "scris",
    "пишет",
    "написал",
    "viết",
];
/// The words with which such a line begins.
const OPENERS: [&str; 10] = [
    " on ", " el ", " am ", " le ", " il ", " em ", " den ", " op ", " w dniu ", " dne ",
];
/// Field names of a block of headers, as programs translate them: the sender first.
const FROM: [&str; 9] = [
    "from:", "de:", "von:", "da:", "van:", "från:", "fra:", "od:", "от:",
];
const OTHERS: [&str; 20] = [
    "sent:",
    "date:",
    "to:",
    "subject:",
    "enviado:",
    "enviado el:",
    "fecha:",
    "para:",
    "asunto:",
    "gesendet:",
    "datum:",
    "an:",
    "betreff:",
    "envoyé:",
    "objet:",
    "inviato:",
    "oggetto:",
    "verzonden:",
    "onderwerp:",
    "data:",
];
/// How programs say from where something was sent.
const SENT_FROM: [&str; 6] = [
    "sent from ",
    "enviado desde ",
    "enviado do ",
    "envoyé de ",
    "gesendet von ",
    "von meinem ",
];

/// What a line announces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Announces {
    /// Nothing: it was written.
    Nothing,
    /// These lines say that what follows is quoted, but for what stands so many bytes into the first.
    Quoted { lines: usize, written: usize },
    /// A signature follows.
    Signature,
    /// The line itself says nothing.
    Nonsense,
}

/// What the line at a place announces, where lines are those without a sign of quoting. Of a text it is known whether
/// it tells of a trap: then it was written.
pub(super) fn announced(lines: &[&str], at: usize, tells: &dyn Fn(&str) -> bool) -> Announces {
    let line = lines[at].trim();
    if let Some(range) = attribution(lines, at, tells) {
        let written = if range.len() == 1 {
            opener(lines[at], tells)
        } else {
            Some(0)
        };
        if let Some(written) = written {
            return Announces::Quoted {
                lines: range.len(),
                written,
            };
        }
    }
    let joined = header_in(lines[at]);
    if let Some(written) = joined {
        return Announces::Quoted { lines: 1, written };
    }
    if is_divider(line) || begins_headers(lines, at) {
        return Announces::Quoted {
            lines: 1,
            written: 0,
        };
    }
    let lower = line.to_lowercase();
    if line == "-" || line == "--" {
        Announces::Signature
    } else if SENT_FROM.iter().any(|begins| lower.starts_with(begins)) && !tells(line) {
        Announces::Nonsense
    } else {
        Announces::Nothing
    }
}

/// `On … wrote:`, whole or broken, that begins at a line.
fn attribution(lines: &[&str], at: usize, tells: &dyn Fn(&str) -> bool) -> Option<Range<usize>> {
    let last =
        (at..lines.len().min(at + MOST_LINES)).find(|last| ends_attribution(lines[*last]))?;
    let earlier = &lines[at..last];
    if earlier.iter().any(|line| line.trim().is_empty()) {
        return None;
    }
    if at == last {
        return Some(at..last + 1);
    }
    // The line that ends it may be whole, and those before it written.
    let whole = is_dated(lines[last]);
    let begins = is_dated(lines[at]) && !tells(lines[at]);
    (!whole && begins).then_some(at..last + 1)
}

fn ends_attribution(line: &str) -> bool {
    let line = line.trim_end();
    let Some(said) = line.strip_suffix(':') else {
        return false;
    };
    let lower = said.to_lowercase();
    let mut words = lower.split(|letter: char| !letter.is_alphabetic());
    said.contains('@') || words.any(|word| WROTE.contains(&word))
}

/// Where an announcement of one line begins; `None` where it names a trap and cannot be told from it.
fn opener(line: &str, tells: &dyn Fn(&str) -> bool) -> Option<usize> {
    if !tells(line) {
        return Some(0);
    }
    let lower = line.to_lowercase();
    let begins = OPENERS
        .iter()
        .filter_map(|opener| lower.find(opener))
        .min()?;
    // Letters whose small form is of another length would shift it.
    let may = lower.len() == line.len() && line.is_char_boundary(begins);
    (may && !tells(&line[begins..])).then_some(begins)
}

/// Whether a year or a time of day stands in it.
fn is_dated(line: &str) -> bool {
    let mut numbers = line.split(|letter: char| !letter.is_ascii_digit());
    let year = numbers
        .any(|number| number.len() == 4 && (number.starts_with("19") || number.starts_with("20")));
    let bytes = line.as_bytes();
    let time = |at: &[u8]| at[0].is_ascii_digit() && at[1] == b':' && at[2].is_ascii_digit();
    year || bytes.windows(3).any(time)
}

/// `-----Original Message-----`: words between two rules.
fn is_divider(line: &str) -> bool {
    ['-', '_'].into_iter().any(|mark| {
        let behind = line.trim_start_matches(mark);
        let between = behind.trim_end_matches(mark);
        line.len() - behind.len() >= 4 && behind.len() - between.len() >= 4 && !between.is_empty()
    })
}

/// A block of at least two lines of headers, one with an address or a date.
fn begins_headers(lines: &[&str], at: usize) -> bool {
    let block = lines[at..]
        .iter()
        .take(MOST_LINES)
        .take_while(|line| header_name(line).is_some());
    let block: Vec<&&str> = block.collect();
    let known = |line: &str| {
        let name = header_name(line).unwrap_or_default();
        FROM.iter().chain(&OTHERS).any(|known| *known == name)
    };
    block.len() >= 2
        && block
            .iter()
            .any(|line| line.contains('@') || is_dated(line))
        && block.iter().filter(|line| known(line)).count() >= 2
}

fn header_name(line: &str) -> Option<String> {
    let plain = line.trim().trim_start_matches('*').to_lowercase();
    let (name, _) = plain.split_once(':')?;
    let name = name.trim_end_matches('*').trim();
    let may = name.chars().count() <= 20 && name.chars().all(|c| c.is_alphabetic() || c == ' ');
    may.then(|| format!("{name}:"))
}

/// Where a block of headers begins that was joined into one line.
fn header_in(line: &str) -> Option<usize> {
    let lower = line.to_lowercase();
    if lower.len() != line.len() || !line.contains('@') {
        return None;
    }
    let places = FROM.iter().filter_map(|name| {
        let at = lower.find(name)?;
        let behind = &lower[at + name.len()..];
        let others = OTHERS
            .iter()
            .filter(|other| behind.contains(*other))
            .count();
        let begins = at == 0 || lower[..at].ends_with(' ') || lower[..at].ends_with('*');
        (begins && others >= 2).then_some(at)
    });
    places.min()
}
