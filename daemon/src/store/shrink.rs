//! Giving room that pruned records left back to the disk.

use rusqlite::Connection;

use super::StoreError;
use crate::crash;

/// SQLite's number of the kind of file that can be shrunk step by step.
const INCREMENTAL: i64 = 2;
/// For so many pages in use one may be free: the next nights write into it, instead of growing a file that was
/// just cut.
const USED_FOR_ONE_FREE: i64 = 10;

/// Gives back the room that pruned records took on the disk, and the memory that a night's pages took.
pub(super) fn shrink(connection: &Connection) -> Result<(), StoreError> {
    cut(connection)?;
    Ok(connection.execute_batch("PRAGMA shrink_memory")?)
}

/// Cuts free pages off the end of the file, but for some. Steps of SQLite's own rather than a rewrite of the
/// file: they cost what they free, need no room for a second file on a disk that may be full, and can be cut
/// off anywhere. A file from before this is rewritten once, to become of that kind.
fn cut(connection: &Connection) -> Result<(), StoreError> {
    let number = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let free = number("freelist_count")?;
    let too_many = free - (number("page_count")? - free) / USED_FOR_ONE_FREE;
    if too_many <= 0 {
        return Ok(());
    }
    if number("auto_vacuum")? != INCREMENTAL {
        connection.pragma_update(None, "auto_vacuum", "incremental")?;
        crash::point("before the file is rewritten");
        connection.execute_batch("VACUUM")?;
        crash::point("the file is rewritten");
        return Ok(());
    }
    // A page is freed with each row that is asked for.
    let mut pages = connection.prepare(&format!("PRAGMA incremental_vacuum({too_many})"))?;
    let mut pages = pages.query([])?;
    while pages.next()?.is_some() {
        crash::point("a page is freed");
    }
    Ok(())
}
