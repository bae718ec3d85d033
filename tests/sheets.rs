//! Sheets as spreadsheets save them: the same records, however a file was saved.

use std::fs;
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};
use std::process::Command;

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use crate::harness::{Farm, duskflight, printed};

/// Two lists, each saved in many ways; the folder says in which order of month and day.
fn samples(order: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data/sheets");
    let entries = fs::read_dir(folder.join(order)).unwrap();
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files
}

fn farm(order: &str) -> Farm {
    let farm = Farm::new("2022-08-30");
    let name = "name = \"Test orchards\"";
    farm.change(name, &format!("{name}\ndate_order = \"{order}\""));
    farm
}

fn kind_of(file: &Path) -> &'static str {
    let name = file.file_name().unwrap().to_str().unwrap();
    match name.starts_with("visits") {
        true => "visits",
        false => "notes",
    }
}

/// What a file brings into empty records, as they are given out again, and what was said.
fn imported(order: &str, file: &Path) -> (String, String) {
    let (farm, kind) = (farm(order), kind_of(file));
    let config = ["--config", farm.config()];
    let path = file.to_str().unwrap();
    let said = printed(&[&[kind, "import", path], &config[..]].concat());
    let records = printed(&[&[kind, "export"], &config[..]].concat());
    (records, said)
}

#[test]
fn a_list_gives_the_same_records_however_a_spreadsheet_saved_it() {
    let mut count = 0;
    for order in ["month-day", "day-month"] {
        let samples = samples(order);
        let is_plain = |file: &&PathBuf| file.file_stem().unwrap() == kind_of(file);
        let (plain, others): (Vec<_>, Vec<_>) = samples.iter().partition(is_plain);
        assert_eq!(plain.len(), 2, "{plain:?}");
        for plain in plain {
            let (records, said) = imported(order, plain);
            assert!(records.lines().count() > 5, "{records}");
            assert!(!said.contains(';'), "{said}");
            for file in others.iter().filter(|file| kind_of(file) == kind_of(plain)) {
                let (same, said) = imported(order, file);
                assert_eq!(same, records, "{}: {said}", file.display());
                let name = file.to_str().unwrap();
                assert_eq!(
                    said.contains("read as Windows-1252"),
                    name.ends_with("windows-1252.csv") || name.ends_with("points.csv"),
                    "{said}"
                );
                count += 1;
            }
        }
    }
    assert!(count >= 30, "{count} files");
}

/// A packed file of these parts.
fn packed(parts: &[(&str, &str)]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in parts {
        let begun = writer.start_file(*name, SimpleFileOptions::default());
        begun.unwrap();
        writer.write_all(text.as_bytes()).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

/// Workbooks of some kilobytes that say they are gigabytes.
fn bombs() -> [(&'static str, Vec<u8>); 3] {
    let blanks = " ".repeat(9 << 20);
    let parts = ["content.xml", "1", "2", "3"].map(|name| (name, blanks.as_str()));
    let cell = "<table-cell number-columns-repeated=\"16000\"><p>x</p></table-cell>";
    let row = format!("<table-row number-rows-repeated=\"1000000\">{cell}</table-row>");
    let repeated = format!("<d><table>{row}</table></d>");
    let relations = |kind: &str, target: &str| {
        let office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
        format!(
            "<Relationships><Relationship Id=\"r\" Type=\"{office}/{kind}\" Target=\"{target}\"/></Relationships>"
        )
    };
    let font = format!(
        "<fonts><font><name val=\"{}\"/></font></fonts>",
        "x".repeat(1 << 20)
    );
    let kinds = "<xf fontId=\"0\"/>".repeat(60_000);
    let styled = [
        (
            "_rels/.rels",
            relations("officeDocument", "xl/workbook.xml"),
        ),
        (
            "xl/workbook.xml",
            "<workbook><sheets><sheet name=\"A\" r:id=\"r\"/></sheets></workbook>".to_owned(),
        ),
        (
            "xl/_rels/workbook.xml.rels",
            relations("worksheet", "worksheets/sheet1.xml"),
        ),
        (
            "xl/worksheets/sheet1.xml",
            "<worksheet><sheetData/></worksheet>".to_owned(),
        ),
        (
            "xl/styles.xml",
            format!("<styleSheet>{font}<cellXfs>{kinds}</cellXfs></styleSheet>"),
        ),
    ];
    [
        ("larger than 32 MiB unpacked", packed(&parts)),
        (
            "larger than 32 MiB unpacked",
            packed(&[("content.xml", &repeated)]),
        ),
        (
            "it is empty",
            packed(&styled.each_ref().map(|(name, text)| (*name, text.as_str()))),
        ),
    ]
}

#[test]
fn a_workbook_that_would_unpack_to_gigabytes_is_refused_in_little_memory() {
    let farm = farm("month-day");
    for (number, (why, bytes)) in bombs().into_iter().enumerate() {
        assert!(bytes.len() < 50 << 10, "{} bytes", bytes.len());
        let file = farm.path(&format!("bomb-{number}.ods"));
        fs::write(&file, bytes).unwrap();
        // In kB of addresses, of which the program alone takes a part.
        let limited = format!(
            "ulimit -v 1000000; exec {} \"$@\"",
            duskflight().get_program().display()
        );
        let done = Command::new("sh")
            .args([
                "-c",
                &limited,
                "sh",
                "visits",
                "import",
                file.to_str().unwrap(),
            ])
            .args(["--config", farm.config()])
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{said}");
        assert!(said.contains(why), "{said}");
    }
}

#[test]
#[ignore = "needs LibreOffice: tests/long"]
fn a_round_sheet_goes_through_a_spreadsheet_in_any_country_and_back() {
    let dir = tempfile::tempdir().unwrap();
    let give_out = |order: &str| {
        let farm = farm(order);
        let round = ["round", "--config", farm.config(), "--as-of", "2022-04-22"];
        (printed(&[&round[..], &["--format", "csv"]].concat()), farm)
    };
    let (sheet, farm_of_plain) = give_out("month-day");
    let counted = [("e1", 1234), ("e2", 0), ("e4", 7)];
    let filled = counted.iter().fold(sheet.clone(), |sheet, (trap, count)| {
        let blank = format!("2022-04-22,{trap},,");
        assert!(sheet.contains(&blank), "{sheet}");
        sheet.replace(&blank, &format!("2022-04-22,{trap},{count},"))
    });
    let expected = "3 added, 0 changed, 0 there already, 2 left blank";
    let said = farm_of_plain.import("filled.csv", &filled);
    assert!(said.contains(expected), "{said}");
    let records = |farm: &Farm| printed(&["visits", "export", "--config", farm.config()]);
    let plain = records(&farm_of_plain);

    let round = dir.path().join("round.csv");
    fs::write(&round, &sheet).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/spreadsheet.py");
    let counts = counted.map(|(trap, count)| format!("{trap}={count}"));
    let done = Command::new("/usr/bin/python3")
        .args([script.as_path(), &round, dir.path()])
        .args(counts)
        .output()
        .unwrap();
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    fs::remove_file(&round).unwrap();
    let mut files = 0;
    for entry in fs::read_dir(dir.path()).unwrap() {
        let file = entry.unwrap().path();
        let country = file.file_stem().unwrap().to_str().unwrap();
        let farm = farm(if country == "US" {
            "month-day"
        } else {
            "day-month"
        });
        let import = [
            "visits",
            "import",
            file.to_str().unwrap(),
            "--config",
            farm.config(),
        ];
        let said = printed(&import);
        assert!(said.contains(expected), "{said}");
        assert_eq!(records(&farm), plain, "{said}");
        let is_text = file.extension().unwrap() == "csv";
        assert_eq!(said.contains("days such as"), is_text, "{said}");
        files += 1;
    }
    assert_eq!(files, 9);
}
