//! Workbooks that are damaged, too large, or made to be: each is refused at once.

use std::io::Write;
use std::time::{Duration, Instant};

use proptest::prelude::*;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::*;

/// A packed file of these parts.
fn packed(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        writer
            .start_file(*name, SimpleFileOptions::default())
            .unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn ods(rows: &str) -> Vec<u8> {
    let content = format!("<d><table:table table:name=\"A\">{rows}</table:table></d>");
    packed(&[("content.xml", content.as_bytes())])
}

/// A workbook of one page with these cells, and how it is told what they look like.
fn xlsx(rows: &str, styles: &str) -> Vec<u8> {
    let relation = |id: &str, kind: &str, target: &str| {
        let kind =
            format!("http://schemas.openxmlformats.org/officeDocument/2006/relationships/{kind}");
        format!("<Relationship Id=\"{id}\" Type=\"{kind}\" Target=\"{target}\"/>")
    };
    let relations = format!(
        "<Relationships>{}{}{}</Relationships>",
        relation("r1", "worksheet", "worksheets/sheet1.xml"),
        relation("r2", "styles", "styles.xml"),
        relation("r3", "sharedStrings", "sharedStrings.xml")
    );
    let root = relation("r1", "officeDocument", "xl/workbook.xml");
    // One long text that any cell may show.
    let shared = format!("<sst><si><t>{}</t></si></sst>", "x".repeat(16 << 10));
    packed(&[
        (
            "_rels/.rels",
            format!("<Relationships>{root}</Relationships>").as_bytes(),
        ),
        (
            "xl/workbook.xml",
            b"<workbook><sheets><sheet name=\"A\" sheetId=\"1\" r:id=\"r1\"/></sheets></workbook>",
        ),
        ("xl/_rels/workbook.xml.rels", relations.as_bytes()),
        ("xl/styles.xml", styles.as_bytes()),
        ("xl/sharedStrings.xml", shared.as_bytes()),
        (
            "xl/worksheets/sheet1.xml",
            format!("<worksheet><sheetData>{rows}</sheetData></worksheet>").as_bytes(),
        ),
    ])
}

fn refused(bytes: &[u8]) -> String {
    let begin = Instant::now();
    let why = pages(bytes).unwrap_err().to_string();
    // A hang would take hours; a machine with other work may take seconds.
    assert!(
        begin.elapsed() < Duration::from_secs(60),
        "{:?}",
        begin.elapsed()
    );
    why
}

const TOO_LARGE: &str =
    "it is larger than 32 MiB unpacked, the most that is read here; save the page as CSV";

#[test]
fn a_bomb_is_refused_before_it_is_unpacked() {
    // 36 MiB of blanks, packed to about as many kB.
    let blanks = vec![b' '; 36 << 20];
    let bomb = packed(&[("content.xml", &blanks)]);
    assert!(bomb.len() < 50 << 10, "{}", bomb.len());
    assert_eq!(refused(&bomb), TOO_LARGE);
    assert_eq!(
        refused(&packed(&[("xl/workbook.xml", b"<a/>"), ("x", &blanks)])),
        TOO_LARGE
    );
    // In several parts, none of which is too large.
    let part = &blanks[..9 << 20];
    assert_eq!(
        refused(&packed(&[
            ("a", part),
            ("b", part),
            ("c", part),
            ("content.xml", part)
        ])),
        TOO_LARGE
    );
    assert_eq!(refused(&[&PACKED[..], &[0; 9 << 20]].concat()), TOO_LARGE);
}

#[test]
fn what_a_few_bytes_say_is_repeated_millions_of_times_is_refused() {
    let cell = |times: &str, text: &str| {
        format!(
            "<table:table-cell table:number-columns-repeated=\"{times}\"><text:p>{text}</text:p></table:table-cell>"
        )
    };
    let row = |times: &str, cells: &str| {
        format!("<table:table-row table:number-rows-repeated=\"{times}\">{cells}</table:table-row>")
    };
    let wide = cell("16000", "x");
    for rows in [
        row("1048576", &wide),
        row("1", &wide).repeat(5_000),
        row("18446744073709551615", &cell("2", "x")),
        row("1", &cell("18446744073709551615", "x")),
        row("1", &cell("16384", &"x".repeat(10_000))),
        row("1048577", "<table:table-cell/>") + &row("1", &cell("1", "x")),
    ] {
        let bomb = ods(&rows);
        assert!(bomb.len() < 10 << 10, "{}", bomb.len());
        assert_eq!(refused(&bomb), TOO_LARGE);
    }
    // Blanks that are counted, though the cell shows something else.
    let blanks = "<text:s text:c=\"16384\"/>".repeat(3_000);
    let one = format!(
        "<table:table-cell office:value-type=\"float\" office:value=\"1\"><text:p>{blanks}</text:p></table:table-cell>"
    );
    assert_eq!(refused(&ods(&row("1", &one))), TOO_LARGE);
    // Far places of few cells cost nothing where a page is not read cell by cell.
    let far = "<row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row>";
    assert_eq!(
        pages(&xlsx(far, "<styleSheet/>")).unwrap()[0].1.len(),
        1_048_575 * 3 + 16_385
    );
    let twice = "<row r=\"2\"><c r=\"A2\"><v>1</v></c></row>".repeat(2);
    assert!(
        refused(&xlsx(
            &(twice + "<row r=\"1\"><c r=\"A1\"><v>1</v></c></row>"),
            "<styleSheet/>"
        ))
        .contains("damaged")
    );
}

#[test]
fn a_row_that_shows_one_text_again_and_again_is_refused_before_its_end() {
    let again = |times: usize, end: &str| {
        let cells = "<c t=\"s\"><v>0</v></c>".repeat(times);
        xlsx(&format!("<row r=\"1\">{cells}{end}</row>"), "<styleSheet/>")
    };
    assert_eq!(
        pages(&again(3, "")).unwrap()[0].1.len(),
        3 * ((16 << 10) + 1)
    );
    let no_column = "<c r=\"XFE1\"><v>1</v></c>";
    assert!(refused(&again(3, no_column)).contains("damaged"));
    assert_eq!(refused(&again(3_000, no_column)), TOO_LARGE);
}

#[test]
fn how_cells_look_costs_nothing_and_too_many_looks_are_refused() {
    let cells = "<row r=\"1\"><c r=\"A1\" s=\"1\"><v>44637</v></c><c r=\"B1\" s=\"2\"><v>0.07</v></c></row>";
    let font = format!(
        "<fonts><font><name val=\"{}\"/></font></fonts>",
        "x".repeat(1 << 20)
    );
    let kinds = "<xf numFmtId=\"0\"/><xf numFmtId=\"200\"/><xf numFmtId=\"10\"/>";
    let styles = |more: usize| {
        let more = "<xf fontId=\"0\"/>".repeat(more);
        format!(
            "<styleSheet><numFmts><numFmt numFmtId=\"200\" formatCode=\"d&quot;.&quot;m.yy\"/></numFmts>{font}\
             <cellStyleXfs><xf/></cellStyleXfs><cellXfs>{kinds}{more}</cellXfs></styleSheet>"
        )
    };
    // With its font each of them would be a megabyte.
    let workbook = xlsx(cells, &styles(60_000));
    assert!(workbook.len() < 20 << 10, "{}", workbook.len());
    assert_eq!(pages(&workbook).unwrap()[0].1, "2022-03-17,7\n");
    assert_eq!(refused(&xlsx(cells, &styles(70_000))), TOO_LARGE);
}

#[test]
fn what_is_packed_and_no_workbook_is_named() {
    assert!(
        refused(&packed(&[("word/document.xml", b"<a/>")]))
            .contains("no workbook of the form .xlsx or .ods")
    );
    let good = ods(
        "<table:table-row><table:table-cell><text:p>x</text:p></table:table-cell></table:table-row>",
    );
    assert_eq!(pages(&good).unwrap(), [("A".to_owned(), "x\n".to_owned())]);
    for end in [4, 40, good.len() / 2, good.len() - 1] {
        assert!(refused(&good[..end]).contains("damaged"), "{end}");
    }
    assert!(refused(&ods("<table:table-row>")).contains("damaged"));
    assert!(refused(&packed(&[("content.xml", b"\xff\xfe")])).contains("damaged"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_wrong_byte_in_a_workbook_makes_it_panic(place in 0.0..1.0_f64, byte: u8, text in "[<>/a-z \"=&;0-9]{0,80}") {
        let cells = "<row r=\"1\"><c r=\"A1\" s=\"1\"><v>44637</v></c></row>";
        for mut bytes in [xlsx(cells, "<styleSheet/>"), ods("<table:table-row/>"), ods(&text), xlsx(&text, &text)] {
            let _ = pages(&bytes);
            let place = (place * bytes.len() as f64) as usize;
            bytes[place] = byte;
            let _ = pages(&bytes);
        }
    }
}
