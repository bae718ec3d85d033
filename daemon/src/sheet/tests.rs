//! Sheets as they are filled in, saved, and wrong.

use duskflight_core::wording::DateOrder;
use proptest::prelude::*;

use super::row::LONGEST_CELL;
use super::*;

const COLUMNS: Columns = Columns {
    all: &["date", "trap", "eggs"],
    needed: &["date", "trap"],
};

fn faults(text: &str) -> Vec<String> {
    faults_of(text.as_bytes())
}

fn faults_of(bytes: &[u8]) -> Vec<String> {
    let sheet = read(bytes, &COLUMNS, &Dates::new(DateOrder::MonthDay), |row| {
        let mut faults = Vec::new();
        keep(&mut faults, row.day("date"));
        keep(&mut faults, row.count("eggs"));
        if faults.is_empty() {
            Ok(())
        } else {
            Err(faults)
        }
    });
    sheet.faults.iter().map(ToString::to_string).collect()
}

#[test]
fn every_fault_of_every_row_is_told() {
    let told = faults("Date,TRAP,eggs\n2022-13-01,E1,many\n2022-04-01,E1\n2022-04-01,E1,100001\n");
    assert_eq!(
        told,
        [
            "row 2, column date, \"2022-13-01\": write a day as YYYY-MM-DD",
            "row 2, column eggs, \"many\": write a whole number, or leave it empty",
            "row 3: it has 2 fields, the header has 3",
            "row 4, column eggs, \"100001\": more than 100000, which nobody counts; write what was counted",
        ]
    );
}

#[test]
fn a_cell_without_end_and_a_sheet_without_end_are_refused_where_they_pass_the_ceiling() {
    let most = "x".repeat(LONGEST_CELL);
    let named = |trap: &str| faults(&format!("date,trap,eggs\n2022-04-01,{trap},1\n"));
    assert_eq!(named(&most), [""; 0]);
    let told = named(&(most + "x"));
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].starts_with("row 2, column trap"), "{told:?}");
    assert!(
        told[0].contains("it has 2001 bytes; a cell has room for 2000"),
        "{told:?}"
    );

    let sheet = |rows| format!("date,trap\n{}", "2022-04-01,e\n".repeat(rows));
    assert_eq!(faults(&sheet(MOST_ROWS)), [""; 0]);
    let told = faults(&sheet(MOST_ROWS + 1));
    let expected = "row 1000002: a sheet has 1000000 rows at most; split it into several";
    assert_eq!(told, [expected]);
}

#[test]
fn a_row_that_was_cleared_counts_and_says_nothing() {
    let told = faults("date,trap,eggs\n2022-04-01,E1,1\n,,\n2022-13-01,E1,\n");
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].starts_with("row 4, column date"), "{told:?}");
}

#[test]
fn a_header_with_a_slip_is_read_as_it_was_meant() {
    let told = faults("dates,trap,eggs\n2022-04-01,E1,x\n");
    assert_eq!(told.len(), 2, "{told:?}");
    assert_eq!(
        told[0],
        "row 1 (the header): unknown column \"dates\"; did you mean \"date\"?"
    );
}

#[test]
fn a_header_that_does_not_fit_is_explained() {
    assert!(faults("date,colour\n")[0].contains("the columns are date, trap, eggs"));
    assert!(faults("date,colour\n")[1].contains("the column trap is missing"));
    assert!(faults("date,trap,date\n")[0].contains("the column date stands twice"));
}

#[test]
fn a_name_with_a_comma_stays_one_cell() {
    let row = ["2022-05-01", "hatch, first \"small\" one", ""].map(str::to_owned);
    let text = csv_text(["date", "passed", "total"], [row.clone()]);
    assert!(text.starts_with("date,passed,total\n2022-05-01,"), "{text}");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let read: Vec<[String; 3]> = reader.deserialize().map(Result::unwrap).collect();
    assert_eq!(read, [row]);
}

/// Row, day and eggs.
type Counted = (usize, String, Option<u32>);

/// A sheet in which everything is right, as it was read.
fn read_right(bytes: &[u8]) -> (Vec<Counted>, Option<&'static str>) {
    let dates = Dates::new(DateOrder::MonthDay);
    let sheet = read(bytes, &COLUMNS, &dates, |row| {
        let (day, eggs) = (row.day("date"), row.count("eggs"));
        let day = day.map_err(|fault| vec![fault])?.to_string();
        Ok((row.number(), day, eggs.map_err(|fault| vec![fault])?))
    });
    assert_eq!(sheet.faults, []);
    (sheet.rows, sheet.remark)
}

#[test]
fn a_sheet_is_the_same_however_its_fields_rows_and_letters_are_saved() {
    let expected = vec![
        (2, "2022-04-01".to_owned(), Some(1)),
        (5, "2022-04-02".to_owned(), Some(1234)),
    ];
    let plain = "date,trap,eggs\n2022-04-01,é,1\n\n,,\n2022-04-02,é,1234\n";
    let check = |text: &str| {
        assert_eq!(
            read_right(text.as_bytes()),
            (expected.clone(), None),
            "{text:?}"
        );
    };
    check(plain);
    check(&plain.replace('\n', "\r\n"));
    check(&plain.replace('\n', "\r"));
    check(&plain.replace(',', ";"));
    check(&plain.replace(',', "\t"));
    check(&format!("\u{feff}sep=;\r\n{}", plain.replace(',', ";")));
    check(&plain.replace("date,trap,eggs", "\" DATE \",Trap ,\"eggs\""));
    check(
        &plain
            .replace('\n', ",,\n")
            .replace("\n,,\n,,,,", "\n\n,,,,"),
    );
    check(&plain.replace("1234", "\"1,234\""));
    check(&plain.replace("2022-04-0", "4/0").replace(",é", "/2022,é"));

    let wide: Vec<u8> = format!("\u{feff}{plain}")
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    assert_eq!(read_right(&wide), (expected.clone(), None));
    let windows: Vec<u8> = plain
        .chars()
        .map(|c| u8::try_from(u32::from(c)).unwrap())
        .collect();
    let (rows, remark) = read_right(&windows);
    assert_eq!(rows, expected);
    assert!(
        remark.unwrap().starts_with("read as Windows-1252"),
        "{remark:?}"
    );
}

#[test]
fn a_file_that_is_no_sheet_has_one_fault() {
    let one = |bytes: &[u8], said: &str| {
        let sheet = read(
            bytes,
            &COLUMNS,
            &Dates::new(DateOrder::MonthDay),
            |_| Ok(()),
        );
        let told: Vec<String> = sheet.faults.iter().map(ToString::to_string).collect();
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0].contains(said), "{told:?}");
    };
    one(
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\0\0",
        "save it as .xlsx, .ods or CSV",
    );
    one(
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        "neither text nor a workbook",
    );
    one(
        b"d\0a\0t\0e\0,\0t\0r\0a\0p\0\n\0",
        "neither text nor a workbook",
    );
    one(b"PK\x03\x04 and then nothing", "damaged or has a password");
    one(
        b"<html>\n<body>, and, so, on</body>\n",
        "it names none of the columns date, trap, eggs",
    );
    one(
        b"%PDF-1.7;of;many;columns\n",
        "it names none of the columns",
    );
    one(b"", "it is empty");
    one(b"\n\n,,\n", "it is empty");
}

#[test]
fn a_value_below_no_name_is_not_lost() {
    let told = faults(
        "date,trap,,eggs,\n2022-04-01,E1,,1,\n2022-04-01,E1,wet,many,\n2022-04-01,E1,,1,,late\n",
    );
    assert_eq!(
        told,
        [
            "row 3: \"wet\" stands in column C, which has no name in the header; take it out or name it",
            "row 3, column eggs, \"many\": write a whole number, or leave it empty",
            "row 4: it has 6 fields, the header has 5",
        ]
    );
}

#[test]
fn a_cell_that_is_too_long_hides_no_other_fault() {
    let long = "x".repeat(LONGEST_CELL + 1);
    let told = faults(&format!("date,trap,eggs\n4/31/2022,{long},many\n"));
    assert_eq!(told.len(), 3, "{told:?}");
}

#[test]
fn days_in_another_order_than_the_farms_name_their_row() {
    let told = faults("date,trap\n4/3/2022,E1\n17/3/2022,E1\n4-5-2022,E1\n");
    assert_eq!(
        told,
        [
            "row 3, column date, \"17/3/2022\": the farm's date_order reads month, day, year, which is no day; \
             write all days in one way, best as YYYY-MM-DD",
            "row 4, column date, \"4-5-2022\": an earlier day is written as 4/3/2022; \
             write all days in one way, best as YYYY-MM-DD",
        ]
    );
}

/// A workbook of these pages, each of rows of cells.
fn workbook(pages: &[(&str, &str)]) -> Vec<u8> {
    let page = |(name, rows): &(&str, &str)| {
        let row = |row: &str| {
            let cell = |text| format!("<t:table-cell><p>{text}</p></t:table-cell>");
            let cells: String = row.split(',').map(cell).collect();
            format!("<t:table-row>{cells}</t:table-row>")
        };
        let rows: String = rows.lines().map(row).collect();
        format!("<t:table t:name=\"{name}\">{rows}</t:table>")
    };
    let pages: String = pages.iter().map(page).collect();
    let mut packed = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    packed
        .start_file("content.xml", zip::write::SimpleFileOptions::default())
        .unwrap();
    std::io::Write::write_all(&mut packed, format!("<d>{pages}</d>").as_bytes()).unwrap();
    packed.finish().unwrap().into_inner()
}

#[test]
fn of_a_workbook_the_page_with_the_columns_is_read_and_its_rows_are_those_of_the_spreadsheet() {
    let told = |pages: &[(&str, &str)]| faults_of(&workbook(pages));
    let rows = "\n\nDate,eggs,Trap\n4/1/2022,1,E1\n\n2022-04-31,many,E1\n";
    assert_eq!(
        told(&[("To do", "buy liners"), ("", ""), ("Round", rows)]),
        [
            "row 6, column date, \"2022-04-31\": write a day as YYYY-MM-DD",
            "row 6, column eggs, \"many\": write a whole number, or leave it empty",
        ]
    );
    assert_eq!(
        told(&[("A", "day,trap"), ("B", "eggs")]),
        ["none of its pages \"A\", \"B\" has date, trap in its first row"]
    );
    let slip = told(&[("A", "dates,trap")]);
    assert_eq!(
        slip,
        ["row 1 (the header): unknown column \"dates\"; did you mean \"date\"?"]
    );
}

/// Reads bytes in every way a row is read; whatever they are, it ends and says what is wrong.
fn read_all(bytes: &[u8]) {
    let sheet = read(bytes, &COLUMNS, &Dates::new(DateOrder::DayMonth), |row| {
        let _ = (row.day("date"), row.days("date"), row.count("eggs"));
        let _ = (row.number_up_to("eggs", 100.0, ""), row.yes_or_no("eggs"));
        Ok(())
    });
    assert!(!sheet.faults.is_empty() || sheet.rows.len() <= bytes.len());
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        read_all(&bytes);
        read_all(&[b"date;trap;eggs\n", &bytes[..]].concat());
    }

    #[test]
    fn no_cells_make_it_panic(text in "date,trap,eggs\n([0-9/. ,;\t\"é%\r\n-]{0,60})") {
        read_all(text.as_bytes());
    }
}
