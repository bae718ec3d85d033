//! A page of a workbook on its way to CSV.

use super::trouble::{MOST_UNPACKED, Trouble};

/// The most columns a spreadsheet has.
pub(super) const MOST_COLUMNS: usize = 16_384;
/// The most rows a spreadsheet has.
pub(super) const MOST_ROWS: usize = 1_048_576;

/// How many bytes all pages of a workbook may still have.
pub(super) struct Room(usize);

impl Room {
    pub(super) fn new() -> Self {
        Self(usize::try_from(MOST_UNPACKED).unwrap_or(usize::MAX))
    }

    /// # Errors
    /// There is not so much left.
    pub(super) fn ask(&self, bytes: usize) -> Result<(), Trouble> {
        match bytes <= self.0 {
            true => Ok(()),
            false => Err(Trouble::TooLarge),
        }
    }

    /// # Errors
    /// There is not so much left.
    pub(super) fn take(&mut self, bytes: usize) -> Result<(), Trouble> {
        self.0 = self.0.checked_sub(bytes).ok_or(Trouble::TooLarge)?;
        Ok(())
    }
}

/// One page, written row by row.
pub(super) struct Page {
    name: String,
    writer: csv::Writer<Vec<u8>>,
    /// Rows written so far.
    rows: usize,
    /// Of the first row with anything in it: no row is shorter.
    width: usize,
}

impl Page {
    pub(super) fn new(name: String) -> Self {
        let writer = csv::WriterBuilder::new()
            .flexible(true)
            .from_writer(Vec::new());
        Self {
            name,
            writer,
            rows: 0,
            width: 0,
        }
    }

    /// Writes the row of a number, counted from 0, and empty ones up to it. Its cells are taken away.
    ///
    /// # Errors
    /// The page becomes too large, or the row comes after a later one.
    pub(super) fn row(
        &mut self,
        number: usize,
        cells: &mut Vec<String>,
        room: &mut Room,
    ) -> Result<(), Trouble> {
        let empty = number.checked_sub(self.rows).ok_or(Trouble::Damaged)?;
        if number >= MOST_ROWS {
            return Err(Trouble::TooLarge);
        }
        for _ in 0..empty {
            room.take(3)?;
            self.write(&[String::new()])?;
        }
        if self.width == 0 {
            self.width = cells.len();
        }
        cells.resize(cells.len().max(self.width).max(1), String::new());
        room.take(bytes_of(cells))?;
        self.write(cells)?;
        cells.clear();
        Ok(())
    }

    fn write(&mut self, cells: &[String]) -> Result<(), Trouble> {
        self.rows += 1;
        self.writer
            .write_record(cells)
            .map_err(|_| Trouble::Damaged)
    }

    /// Its name and its text.
    pub(super) fn finish(self) -> Result<(String, String), Trouble> {
        let bytes = self.writer.into_inner().map_err(|_| Trouble::Damaged)?;
        let text = String::from_utf8(bytes).map_err(|_| Trouble::Damaged)?;
        Ok((self.name, text))
    }
}

/// What cells take as CSV.
pub(super) fn bytes_of(cells: &[String]) -> usize {
    cells.iter().map(|cell| cell.len() + 1).sum()
}

/// A number as text; what stands for hundredths is written as the percentage that people see.
pub(super) fn number_text(number: f64, is_percentage: bool) -> String {
    match is_percentage {
        // Without the traces of binary fractions.
        true => ((number * 1e11).round() / 1e9).to_string(),
        false => number.to_string(),
    }
}
