//! Workbooks of the form `.ods` (OpenDocument 1.3, part 3). Read here and not by a library, since a row or cell
//! may stand there once and say that it is repeated a million times: only what is written counts.

use quick_xml::Reader;
use quick_xml::escape::resolve_xml_entity;
use quick_xml::events::{BytesRef, BytesStart, Event};

use super::page::{MOST_COLUMNS, Page, Room, bytes_of, number_text};
use super::trouble::Trouble;
use super::xml::attribute;

/// The pages of a workbook's content.
pub(super) fn pages(content: &str) -> Result<Vec<(String, String)>, Trouble> {
    let mut content = Content::new(content);
    let mut room = Room::new();
    let mut pages = Vec::new();
    loop {
        match content.next()? {
            Event::Start(tag) if tag.local_name().as_ref() == "table" => {
                let name = attribute(&tag, "name").unwrap_or_default();
                pages.push(content.page(name, &mut room)?);
            }
            Event::Eof => return Ok(pages),
            _ => {}
        }
    }
}

struct Content<'a>(Reader<&'a [u8]>);

impl<'a> Content<'a> {
    fn new(content: &'a str) -> Self {
        let mut reader = Reader::from_str(content);
        reader.config_mut().expand_empty_elements = true;
        Self(reader)
    }

    fn next(&mut self) -> Result<Event<'a>, Trouble> {
        self.0.read_event().map_err(|_| Trouble::Damaged)
    }

    fn skip(&mut self, tag: &BytesStart<'_>) -> Result<(), Trouble> {
        let end = tag.name();
        self.0
            .read_to_end(end)
            .map(|_| ())
            .map_err(|_| Trouble::Damaged)
    }

    /// The rows of a table; rows stand in groups, too.
    fn page(&mut self, name: String, room: &mut Room) -> Result<(String, String), Trouble> {
        let mut page = Page::new(name);
        let mut number = 0;
        loop {
            match self.next()? {
                Event::Start(tag) if tag.local_name().as_ref() == "table-row" => {
                    let times = repeated(&tag, "number-rows-repeated")?;
                    let cells = self.row(room)?;
                    if !cells.is_empty() {
                        room.ask(bytes_of(&cells).saturating_mul(times))?;
                        for place in 0..times {
                            page.row(number + place, &mut cells.clone(), room)?;
                        }
                    }
                    number = number.saturating_add(times);
                }
                Event::End(tag) if tag.local_name().as_ref() == "table" => return page.finish(),
                Event::Eof => return Err(Trouble::Damaged),
                _ => {}
            }
        }
    }

    /// The cells of a row up to the last one with anything in it.
    fn row(&mut self, room: &mut Room) -> Result<Vec<String>, Trouble> {
        let mut cells: Vec<String> = Vec::new();
        let mut place = 0_usize;
        loop {
            match self.next()? {
                Event::Start(tag) if tag.local_name().as_ref().ends_with("table-cell") => {
                    let times = repeated(&tag, "number-columns-repeated")?;
                    let text = self.cell(&tag, room)?;
                    let end = place.saturating_add(times);
                    if !text.is_empty() {
                        if end > MOST_COLUMNS {
                            return Err(Trouble::TooLarge);
                        }
                        room.take(text.len() * times + end - cells.len())?;
                        cells.resize(place, String::new());
                        cells.resize(end, text);
                    }
                    place = end;
                }
                Event::Start(tag) => self.skip(&tag)?,
                Event::End(_) => return Ok(cells),
                Event::Eof => return Err(Trouble::Damaged),
                _ => {}
            }
        }
    }

    /// What a cell holds, a formula its last value, as CSV would have it.
    fn cell(&mut self, cell: &BytesStart<'_>, room: &Room) -> Result<String, Trouble> {
        let shown = self.shown(room)?;
        let value = |name| attribute(cell, name);
        let number = |is_percentage| {
            let number = value("value").and_then(|value| value.parse().ok());
            number.map(|number| number_text(number, is_percentage))
        };
        let text = match value("value-type").as_deref() {
            Some("float" | "currency") => number(false),
            Some("percentage") => number(true),
            Some("date") => value("date-value"),
            Some("boolean") => value("boolean-value"),
            Some("string") => value("string-value"),
            _ => None,
        };
        Ok(text.unwrap_or(shown))
    }

    /// The paragraphs of a cell; remarks and drawings beside them are not its text.
    fn shown(&mut self, room: &Room) -> Result<String, Trouble> {
        let mut text = String::new();
        loop {
            match self.next()? {
                Event::Start(tag) if tag.local_name().as_ref() == "p" => {
                    if !text.is_empty() {
                        text.push('\n');
                    }
                    self.paragraph(&mut text, room)?;
                }
                Event::Start(tag) => self.skip(&tag)?,
                Event::End(_) => return Ok(text),
                Event::Eof => return Err(Trouble::Damaged),
                _ => {}
            }
        }
    }

    /// What a few bytes make of a paragraph is measured as it grows.
    fn paragraph(&mut self, text: &mut String, room: &Room) -> Result<(), Trouble> {
        let mut depth = 0;
        loop {
            room.ask(text.len())?;
            match self.next()? {
                Event::Text(part) => text.push_str(&part),
                Event::CData(part) => text.push_str(&part),
                Event::GeneralRef(part) => text.push_str(&referred(&part)?),
                Event::Start(tag) => {
                    depth += 1;
                    match tag.local_name().as_ref() {
                        "s" => {
                            let blanks = repeated(&tag, "c")?.min(MOST_COLUMNS);
                            text.extend(std::iter::repeat_n(' ', blanks));
                        }
                        "tab" => text.push('\t'),
                        "line-break" => text.push('\n'),
                        _ => {}
                    }
                }
                Event::End(_) if depth == 0 => return Ok(()),
                Event::End(_) => depth -= 1,
                Event::Eof => return Err(Trouble::Damaged),
                _ => {}
            }
        }
    }
}

/// The character that `&amp;` or `&#233;` stands for.
fn referred(part: &BytesRef<'_>) -> Result<String, Trouble> {
    let character = part.resolve_char_ref().map_err(|_| Trouble::Damaged)?;
    match character {
        Some(character) => Ok(character.to_string()),
        None => resolve_xml_entity(part)
            .map(str::to_owned)
            .ok_or(Trouble::Damaged),
    }
}

/// How often something stands there.
fn repeated(tag: &BytesStart<'_>, name: &str) -> Result<usize, Trouble> {
    match attribute(tag, name) {
        Some(times) => times.parse().map_err(|_| Trouble::Damaged),
        None => Ok(1),
    }
}
