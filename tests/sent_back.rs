//! The round mail as it leaves the house, sent back by a mail program with nothing filled in: it says nothing,
//! whatever the program makes of it.

use std::sync::LazyLock;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use duskflight::inbox::letter::Letter;
use duskflight_core::answer::{Answer, Form, FormBlock, FormTrap, Sent, read};
use duskflight_core::id::{BlockId, TrapId};
use duskflight_core::orchard::TrapKind;
use duskflight_core::wording::DateOrder;
use duskflight_core::wording::form::{BEGINS, ENDS};
use duskflight_core::wording::language::Language;
use proptest::prelude::*;

use crate::letters::{DAY, Round, farm, round};

static ENGLISH: LazyLock<Round> = LazyLock::new(|| round(&farm()));
static SPANISH: LazyLock<Round> = LazyLock::new(|| {
    let farm = farm();
    farm.change("role = \"scout\"", "role = \"scout\"\nlanguage = \"es\"");
    round(&farm)
});

/// What the farm's scout may speak of, and what the mail asks about.
fn form() -> Form {
    let trap = |id: &str| TrapId::new(id).unwrap();
    let ids = [
        "N1-E1", "N1-E2", "N1-E3", "N1-E4", "N1-P1", "N2-E1", "N2-P1",
    ];
    let traps = ids.map(|id| FormTrap {
        id: trap(id),
        block: BlockId::new(&id[..2]).unwrap(),
        kind: if id.contains('P') {
            TrapKind::Pheromone
        } else {
            TrapKind::Egg
        },
        told: None,
    });
    let blocks = [("N1", "Home block"), ("N2", "Creek 7")].map(|(id, name)| FormBlock {
        id: BlockId::new(id).unwrap(),
        name: name.to_owned(),
        varieties: vec!["Nonpareil".to_owned()],
    });
    Form {
        asked: ids.map(trap).into(),
        traps: traps.into(),
        blocks: blocks.into(),
    }
}

/// What a program makes of the text.
#[derive(Debug, Clone)]
struct Layout {
    sign: &'static str,
    times: usize,
    width: usize,
    line_end: &'static str,
    head: &'static str,
    is_solid: bool,
    loses: &'static [&'static str],
}

fn any_layout() -> impl Strategy<Value = Layout> {
    let heads = [
        "",
        "On Fri, Apr 22, 2022 at 6:00 AM Test <duskflight@test.example> wrote:\n",
        "El vie, 22 abr 2022 a las 6:00, Test\n<duskflight@test.example> escribió:\n\n",
        "-----Original Message-----\nFrom: Test <duskflight@test.example>\nSent: Friday, April 22, 2022 6:00 AM\n\n",
        "________________________________\nDe: Test\nEnviado: viernes, 22 de abril de 2022 6:00\n",
        "22.04.2022, 06:00, Test <duskflight@test.example>:\n",
    ];
    (
        prop::sample::select(vec!["", "> ", ">", "| ", "    "]),
        1..3_usize,
        1..140_usize,
        prop::sample::select(vec!["\n", "\r\n", "\n\n", " \n"]),
        prop::sample::select(heads.to_vec()),
        any::<bool>(),
        prop::sample::select(vec![
            &[][..],
            &["# "],
            &["#"],
            &[BEGINS, ENDS],
            &["# ", BEGINS, ENDS],
        ]),
    )
        .prop_map(
            |(sign, times, width, line_end, head, is_solid, loses)| Layout {
                sign,
                times,
                width,
                line_end,
                head,
                is_solid,
                loses,
            },
        )
}

impl Layout {
    fn of(&self, text: &str) -> String {
        let mut text = text.to_owned();
        for lost in self.loses {
            text = text.replace(lost, "");
        }
        let sign = self.sign.repeat(self.times);
        let lines = text.lines().flat_map(|line| wrapped(line, self.width));
        let lines: Vec<String> = lines.map(|line| format!("{sign}{line}")).collect();
        let text = format!("{}{}", self.head, lines.join(self.line_end));
        if self.is_solid {
            text.replace(' ', "\u{a0}")
        } else {
            text
        }
    }
}

/// Lines of at most so many letters, broken between words.
fn wrapped(line: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in line.split(' ') {
        let last = lines.last_mut().unwrap();
        if !last.is_empty() && last.len() + 1 + word.len() > width {
            lines.push(word.to_owned());
        } else {
            last.push_str(if last.is_empty() { "" } else { " " });
            last.push_str(word);
        }
    }
    lines
}

/// What a program makes of the page.
#[derive(Debug, Clone)]
struct Page {
    quotes: usize,
    keeps: &'static [&'static str],
    is_one_line: bool,
}

fn any_page() -> impl Strategy<Value = Page> {
    let keeps: Vec<&[&str]> = vec![
        &["*"],
        &["p", "/p", "br", "div", "/div", "td", "/td"],
        &["div", "/div", "br"],
        &["p", "/p"],
        &[],
    ];
    (0..4_usize, prop::sample::select(keeps), any::<bool>()).prop_map(
        |(quotes, keeps, is_one_line)| Page {
            quotes,
            keeps,
            is_one_line,
        },
    )
}

impl Page {
    fn of(&self, page: &str) -> String {
        let body = page
            .split_once("<body")
            .unwrap()
            .1
            .split_once('>')
            .unwrap()
            .1;
        let mut page = String::new();
        for part in body.split('<') {
            let (tag, text) = part.split_once('>').unwrap_or(("", part));
            let name = tag.split(' ').next().unwrap_or_default();
            if self.keeps == ["*"] || self.keeps.contains(&name) {
                page += &format!("<{tag}>");
            } else {
                page.push(' ');
            }
            page += text;
        }
        if self.is_one_line {
            page = page.replace('\n', " ");
        }
        let (open, close) = (
            "<blockquote>".repeat(self.quotes),
            "</blockquote>".repeat(self.quotes),
        );
        format!("<html><body>{open}{page}{close}</body></html>")
    }
}

/// How a part is encoded.
fn part(kind: &str, text: &str, how: usize) -> Vec<u8> {
    let (charset, bytes) = match how {
        0 | 1 => ("utf-8", text.as_bytes().to_vec()),
        2 => (
            "windows-1252",
            encoding_rs::WINDOWS_1252.encode(text).0.into_owned(),
        ),
        _ => {
            let units = std::iter::once('\u{feff}').chain(text.chars());
            let text: String = units.collect();
            (
                "utf-16",
                text.encode_utf16().flat_map(u16::to_le_bytes).collect(),
            )
        }
    };
    let (encoding, body) = match how {
        0 => ("8bit", bytes),
        2 => ("quoted-printable", quoted_printable(&bytes)),
        _ => {
            let text = STANDARD.encode(bytes).into_bytes();
            (
                "base64",
                text.chunks(76).collect::<Vec<_>>().join(&b"\r\n"[..]),
            )
        }
    };
    let flowed = if how == 0 { "; format=flowed" } else { "" };
    let head = format!(
        "Content-Type: {kind}; charset={charset}{flowed}\r\nContent-Transfer-Encoding: {encoding}\r\n\r\n"
    );
    [head.into_bytes(), body].concat()
}

/// Every byte but letters and line ends by its number, each line broken softly.
fn quoted_printable(bytes: &[u8]) -> Vec<u8> {
    let mut out = String::new();
    let mut width = 0;
    for byte in bytes {
        if *byte == b'\n' {
            out.push_str("\r\n");
            width = 0;
            continue;
        }
        if width > 70 {
            out.push_str("=\r\n");
            width = 0;
        }
        match byte {
            b'\r' => {}
            byte if byte.is_ascii_alphanumeric() => {
                out.push(char::from(*byte));
                width += 1;
            }
            byte => {
                out += &format!("={byte:02X}");
                width += 3;
            }
        }
    }
    out.into_bytes()
}

fn message(parts: &[Vec<u8>], kind: &str) -> Vec<u8> {
    let mut message =
        b"From: <sam@test.example>\r\nTo: <duskflight@test.example>\r\nSubject: Re: round\r\n\
                        Date: Fri, 22 Apr 2022 18:05:00 -0700\r\nMIME-Version: 1.0\r\n"
            .to_vec();
    if let [one] = parts {
        message.extend_from_slice(one);
        return message;
    }
    message.extend_from_slice(
        format!("Content-Type: multipart/{kind}; boundary=\"b\"\r\n\r\n").as_bytes(),
    );
    for part in parts {
        message.extend_from_slice(b"--b\r\n");
        message.extend_from_slice(part);
        message.extend_from_slice(b"\r\n");
    }
    message.extend_from_slice(b"--b--\r\n");
    message
}

fn said(message: &[u8], language: Language) -> (String, Answer) {
    let letter = Letter::read(message, None).expect("a letter");
    let sent = Sent {
        day_is_clear: true,
        on: DAY.parse().unwrap(),
        order: DateOrder::MonthDay,
        language,
    };
    let answer = read(&letter.text, &form(), &sent);
    (letter.text, answer)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn a_round_that_nobody_filled_in_says_nothing_whatever_a_mail_program_makes_of_it(
        layout in any_layout(),
        page in any_page(),
        how in 0..4_usize,
        sends in 0..5_usize,
        is_spanish in any::<bool>(),
    ) {
        let (mail, language) = match is_spanish {
            true => (&*SPANISH, Language::Spanish),
            false => (&*ENGLISH, Language::English),
        };
        let text = part("text/plain", &layout.of(&mail.text), how);
        let html = part("text/html", &page.of(&mail.html), how);
        let empty = part("text/plain", "\r\n", how);
        let message = match sends {
            0 => message(&[text], ""),
            1 => message(&[html], ""),
            2 => message(&[text, html], "alternative"),
            3 => message(&[empty, html], "alternative"),
            _ => message(&[html, text], "mixed"),
        };
        let (text, answer) = said(&message, language);
        prop_assert!(answer.said.is_empty(), "{:?}\n{}", answer, text);
        // Where it is told apart by nothing, its sentences may be asked about.
        prop_assert!(layout.loses.contains(&BEGINS) || answer.unclear.is_empty(), "{:?}\n{}", answer, text);
    }

    #[test]
    fn what_was_written_above_it_is_all_that_is_read(
        layout in any_layout(),
        how in 0..4_usize,
        count in 0..900_u32,
    ) {
        let text = ENGLISH.text.as_str();
        let layout = Layout { loses: &[], ..layout };
        let written = format!("N1-E1 {count} bait\n\n{}", layout.of(text));
        let (text, answer) = said(&message(&[part("text/plain", &written, how)], ""), Language::English);
        let said: Vec<&str> = answer.said.iter().map(|line| line.text.as_str()).collect();
        let expected = format!("N1-E1 {count} bait");
        prop_assert_eq!(said, vec![expected.as_str()], "{}", text);
    }
}
