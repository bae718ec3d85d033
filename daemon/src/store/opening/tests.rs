use super::*;
use crate::store::Store;

#[test]
fn a_connection_is_durable_and_checks_foreign_keys() {
    let dir = tempfile::tempdir().unwrap();
    let connection = create_connection(&dir.path().join("records.sqlite")).unwrap();
    let pragma = |name| -> String {
        let value: rusqlite::types::Value = connection
            .pragma_query_value(None, name, |row| row.get(0))
            .unwrap();
        format!("{value:?}")
    };
    assert_eq!(pragma("journal_mode"), "Text(\"wal\")");
    assert_eq!(pragma("synchronous"), "Integer(2)");
    assert_eq!(pragma("foreign_keys"), "Integer(1)");
    assert_eq!(pragma("auto_vacuum"), "Integer(2)");
}

#[tokio::test]
async fn a_copy_in_memory_holds_all_but_what_mails_say_and_leaves_nothing_beside_the_file() {
    use crate::store::{outbox, sample};
    use duskflight_core::ledger::MailKind;
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("records with 100 % room?.sqlite");
    let of_file = {
        let file = create_connection(&path).unwrap();
        outbox::queue(&file, &sample::mail("a", MailKind::Digest, "ada", 0)).unwrap();
        schema(&file)
    };
    let copy = Store::copy_of(&path).unwrap();
    let of_copy: Result<_, StoreError> = copy
        .read(|c| {
            let bodies: u32 =
                c.query_row("SELECT count(*) FROM mail_content", [], |row| row.get(0))?;
            Ok((schema(c), outbox::read_queue(c)?.mails().len(), bodies))
        })
        .await;
    assert_eq!(of_copy.unwrap(), (of_file, 1, 0));
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    let none = Store::copy_of(&dir.path().join("none.sqlite"));
    assert!(matches!(none, Err(StoreError::Missing { .. })));
}

fn schema(connection: &Connection) -> Vec<(String, String)> {
    let mut statement = connection
        .prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name")
        .unwrap();
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)));
    rows.unwrap().collect::<Result<_, _>>().unwrap()
}

#[test]
fn every_table_is_strict_and_explains_itself() {
    let dir = tempfile::tempdir().unwrap();
    let connection = create_connection(&dir.path().join("records.sqlite")).unwrap();
    let mut tables = connection
        .prepare("SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND name NOT LIKE 'sqlite%'")
        .unwrap();
    let rows: Vec<(String, bool)> = tables
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    assert!(rows.len() >= 9);
    for (name, strict) in rows {
        assert!(strict, "{name} is not STRICT");
        let sql: String = connection
            .query_row(
                "SELECT sql FROM sqlite_schema WHERE name = ?1",
                [&name],
                |r| r.get(0),
            )
            .unwrap();
        assert!(sql.contains("-- "), "{name} says nothing of itself");
    }
}
