//! What the version before kept of an alert: an alert that waits through an update keeps its lines, and takes more.

use serde_json::{Map, Value, json};

/// An alert in an earlier form, in the form of today: what it says stood beside the envelope once, and each block was
/// an item of its own with what it rested on.
pub(super) fn alert(json: &str) -> Option<Value> {
    let mut kept = beside_the_envelope(json).or_else(|| serde_json::from_str(json).ok())?;
    let alert = kept.pointer_mut("/holds/alert/alert")?;
    for item in alert.get_mut("items")?.as_array_mut()? {
        *item = by_what_it_tells(item)?;
    }
    alert
        .as_object_mut()?
        .insert("rests_on".to_owned(), json!(""));
    Some(kept)
}

/// An item of one block as one of what it tells.
fn by_what_it_tells(item: &Value) -> Option<Value> {
    let of = |key: &str| item.get(key).cloned();
    let line = json!({
        "name": of("name")?, "when": of("when"), "says": of("sentence")?,
    });
    Some(json!({ "title": of("name")?, "lines": [line] }))
}

fn beside_the_envelope(json: &str) -> Option<Value> {
    let mut kept: Map<String, Value> = serde_json::from_str(json).ok()?;
    let mut take = |key| kept.remove(key);
    let (alert, charts) = (take("alert")?, take("charts")?);
    let (name, phone) = (take("adviser")?, take("phone")?);
    let asked = json!({ "name": name, "phone": phone });
    let holds = json!({ "alert": { "alert": alert, "charts": charts, "adviser": asked } });
    kept.insert("holds".to_owned(), holds);
    Some(Value::Object(kept))
}

#[cfg(test)]
mod tests {
    use super::super::{Act, MailContents, What};

    /// As 0.1 stored it, from an alert to which a line was added.
    const KEPT: &str = r#"{"farm":"Test farm","farm_note":null,
      "from":{"name":"Test farm","address":"farm@test.example"},
      "to":{"name":"Gil","address":"gil@test.example"},
      "reply_to":{"name":"Ada","address":"ada@test.example"},
      "date":"2022-04-16T06:00:00-07:00","as_of":"April 16, 2022, 06:00 PDT","order":"month-day",
      "adviser":"Ada","phone":"559-555-0101",
      "alert":{"day":"2022-04-16","headline":"Home: egg-laying start confirmed: Apr 12","more":0,
        "items":[{"block":"home","name":"Home","when":"Apr 12","sentence":"egg-laying start confirmed: Apr 12",
          "evidence":[]}],
        "calendar":[],"catch_up":null},
      "charts":[],
      "acts":[{"by":"Ada","at":"2022-04-16T14:00:00Z","what":{"line":"Look at the traps by the canal."}}]}"#;

    #[test]
    fn an_alert_that_an_earlier_version_kept_is_read_with_its_lines_and_takes_more() {
        let mut contents = MailContents::from_json(KEPT).unwrap();
        assert!(contents.takes_lines());
        contents.act(Act {
            by: "Bo".to_owned(),
            at: chrono::DateTime::UNIX_EPOCH,
            what: What::Line("And by the road.".to_owned()),
        });
        let again = MailContents::from_json(&contents.to_json()).unwrap();
        assert_eq!(again, contents);
        let text = again.compose("<a@test.example>").unwrap().parts.text;
        for line in ["canal", "entered by Bo", "by the road", "confirmed: Apr 12"] {
            assert!(text.contains(line), "{line}: {text}");
        }
        assert!(MailContents::from_json("{}").is_err());
    }
}
