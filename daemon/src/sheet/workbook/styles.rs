//! An `.xlsx` without how it looks: of its styles only what says which numbers are days and percentages. calamine keeps
//! the whole style of each kind of cell, and a file of some kilobytes may have it copy a name of megabytes a
//! million times.

use std::io::{Cursor, Read, Write};

use quick_xml::Reader;
use quick_xml::escape::escape;
use quick_xml::events::Event;
use zip::result::ZipResult;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::trouble::Trouble;
use super::xml::attribute;

/// The most kinds of cells that a spreadsheet keeps apart.
const MOST_KINDS: usize = 65_490;
/// Longest code of a format, in bytes.
const LONGEST_CODE: usize = 255;

/// The workbook anew, with plain styles and without pictures and themes. All its parts were unpacked before and are
/// not too large.
pub(super) fn without_looks(archive: &mut ZipArchive<Cursor<&[u8]>>) -> Result<Vec<u8>, Trouble> {
    let mut plain = ZipWriter::new(Cursor::new(Vec::new()));
    for place in 0..archive.len() {
        copy(archive, place, &mut plain)?;
    }
    let plain = plain.finish().map_err(|_| Trouble::Damaged)?;
    Ok(plain.into_inner())
}

fn copy(
    archive: &mut ZipArchive<Cursor<&[u8]>>,
    place: usize,
    plain: &mut ZipWriter<Cursor<Vec<u8>>>,
) -> Result<(), Trouble> {
    let damaged = |_| Trouble::Damaged;
    let mut part = archive.by_index(place).map_err(damaged)?;
    let name = part.name().map_err(damaged)?.into_owned();
    let copied: ZipResult<()> = match name.to_lowercase().as_str() {
        lower if lower.ends_with("styles.xml") => {
            let mut text = String::new();
            part.read_to_string(&mut text)
                .map_err(|_| Trouble::Damaged)?;
            let styles = plain_styles(&text)?;
            let unpacked =
                SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
            let begun = plain.start_file(name, unpacked);
            begun.and_then(|()| Ok(plain.write_all(styles.as_bytes())?))
        }
        lower if lower.contains("theme") => Ok(()),
        lower if lower.ends_with(".xml") || lower.ends_with(".rels") => plain.raw_copy_file(part),
        _ => Ok(()),
    };
    copied.map_err(damaged)
}

/// Formats of numbers, and which kind of cell has which.
fn plain_styles(text: &str) -> Result<String, Trouble> {
    let mut reader = Reader::from_str(text);
    reader.config_mut().expand_empty_elements = true;
    let (mut formats, mut kinds, mut count) = (String::new(), String::new(), 0);
    let mut is_in_kinds = false;
    loop {
        match reader.read_event().map_err(|_| Trouble::Damaged)? {
            Event::Start(tag) => match tag.local_name().as_ref() {
                "cellXfs" => is_in_kinds = true,
                "numFmt" => {
                    let format = attribute(&tag, "numFmtId").zip(attribute(&tag, "formatCode"));
                    if let Some((id, code)) = format.filter(|(_, code)| code.len() <= LONGEST_CODE)
                    {
                        let (id, code) = (escape(&id), escape(&code));
                        formats += &format!("<numFmt numFmtId=\"{id}\" formatCode=\"{code}\"/>");
                    }
                }
                "xf" if is_in_kinds => {
                    count += 1;
                    let id = attribute(&tag, "numFmtId").unwrap_or_default();
                    kinds += &format!("<xf numFmtId=\"{}\"/>", escape(&id));
                }
                _ => {}
            },
            Event::End(tag) if tag.local_name().as_ref() == "cellXfs" => is_in_kinds = false,
            Event::Eof => break,
            _ => {}
        }
        if count > MOST_KINDS {
            return Err(Trouble::TooLarge);
        }
    }
    Ok(format!(
        "<styleSheet><numFmts>{formats}</numFmts><cellXfs>{kinds}</cellXfs></styleSheet>"
    ))
}
