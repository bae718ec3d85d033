//! Answers that lie as files in a watched folder.

use std::fs;
use std::path::Path;

use chrono::Days;

use crate::answered_farm::{all_is_told, farm_of_today, readings, says, words};
use crate::answers::Sent;
use crate::daemon::{start, wait_for};
use crate::harness::{Farm, rows};

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten();
    let names = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.filter(|name| name.contains('.')).collect();
    names.sort();
    names
}

fn to_sam(farm: &Farm, kind: &str) -> Vec<Sent> {
    let names = farm.mails().into_iter();
    let its = names.filter(|name| name.contains(&format!("-{kind}-sam")));
    its.map(|name| Sent::read(&fs::read(farm.path("mail").join(name)).unwrap()))
        .collect()
}

#[test]
fn answers_in_a_watched_folder_are_taken_and_put_away_and_all_else_stays() {
    let (farm, today) = farm_of_today(None, "[inbox]\nfolder = \"inbox\"\n");
    let daemon = start(&farm);
    daemon.looks_until("the round mail is there", || {
        to_sam(&farm, "round").len() == 1
    });
    let round = to_sam(&farm, "round").pop().unwrap();
    daemon.stop("-TERM");
    for folder in ["inbox/new", "inbox/cur", "inbox/tmp"] {
        fs::create_dir_all(farm.path(folder)).unwrap();
    }
    let day = |ago| today - Days::new(ago);
    let on = |ago, id: &str, text: &str| says(&round, id, &format!("{}\r\n{text}", day(ago)));
    let first = on(1, "1", "e1 1");
    farm.write("inbox/answer.eml", &first);
    // The same message once more, and another one of that name, which is taken later.
    farm.write("inbox/copy.eml", &first);
    farm.write("inbox/new/1764000001.office", &on(2, "2", "e1 2"));
    farm.write("inbox/cur/1764000000.office:2,S", &on(3, "3", "e1 3"));
    let letter =
        "From: fay@far.example\r\nTo: office@test.example\r\nSubject: hay\r\n\r\ne1 12\r\n";
    let others = [
        ("inbox/letter.eml", letter),
        ("inbox/new/1764000002.office", letter),
        ("inbox/notes.txt", "e1 12"),
        ("inbox/tmp/1764000003.office", &on(4, "4", "e1 4")),
        ("inbox/.being.eml", &on(4, "4", "e1 4")),
        ("inbox/large.eml", &("a".repeat(3 << 20))),
    ];
    for (name, text) in &others {
        farm.write(name, text);
    }
    let daemon = start(&farm);
    daemon.looks_until("all is told", || all_is_told(&farm, 3));
    let reading = |ago: u64| {
        let all = [&day(ago).to_string(), "e1", &ago.to_string(), "sam", "mail"];
        all.map(str::to_owned).to_vec()
    };
    assert_eq!(readings(&farm), [reading(3), reading(2), reading(1)]);
    let receipt = to_sam(&farm, "receipt");
    assert_eq!(receipt.len(), 1, "several that waited are told of in one");
    let done = [
        "1764000000.office:2,S",
        "1764000001.office",
        "answer.eml",
        "copy.eml",
    ];
    wait_for("they are put away", || {
        names(&farm.path("inbox/done")) == done
    });
    for (name, text) in &others {
        assert_eq!(
            &fs::read_to_string(farm.path(name)).unwrap(),
            text,
            "{name}"
        );
    }
    // A name that is there already is no reason to overwrite it. Its reading corrects what the receipt tells.
    farm.write(
        "inbox/answer.eml",
        &says(&receipt[0], "5", &format!("{}\r\ne1 11", day(1))),
    );
    daemon.looks_until("the correction is told", || all_is_told(&farm, 4));
    wait_for("it is put away", || {
        names(&farm.path("inbox/done")).contains(&"2-answer.eml".to_owned())
    });
    assert_eq!(
        fs::read_to_string(farm.path("inbox/done/answer.eml")).unwrap(),
        first
    );
    let told = to_sam(&farm, "receipt");
    assert!(
        told.iter()
            .any(|mail| words(mail).contains("stood as 1 egg"))
    );
    daemon.stop("-TERM");
}

#[test]
fn after_an_older_database_was_put_back_the_messages_that_are_done_are_read_again_oldest_first() {
    let (farm, _) = farm_of_today(None, "[inbox]\nfolder = \"inbox\"\n");
    let daemon = start(&farm);
    daemon.looks_until("the round mail is there", || {
        to_sam(&farm, "round").len() == 1
    });
    wait_for("all has left", || all_is_told(&farm, 0));
    let round = to_sam(&farm, "round").pop().unwrap();
    daemon.stop("-TERM");
    let copy = farm.saved_database();
    // Not an answer, whoever put it there: it is no news on a later day.
    fs::create_dir_all(farm.path("inbox/done")).unwrap();
    farm.write(
        "inbox/done/old.eml",
        "From: sam@test.example\r\nSubject: Re: round\r\n\r\ne1 12\r\n",
    );
    let daemon = start(&farm);
    farm.write("inbox/z.eml", &says(&round, "1", "e1 1\r\ne2 2"));
    daemon.looks_until("the answer is told", || all_is_told(&farm, 1));
    let receipt = to_sam(&farm, "receipt").pop().unwrap();
    farm.write("inbox/a.eml", &says(&receipt, "2", "e1 11"));
    daemon.looks_until("the correction is told", || all_is_told(&farm, 2));
    daemon.stop("-TERM");
    let stored = readings(&farm);
    assert_eq!(stored.len(), 2);
    assert_eq!(stored[0][2], "11");
    let told = farm.mails();
    for log in ["-wal", "-shm"] {
        // The daemon has usually taken them away.
        let _ = fs::remove_file(farm.path(&format!("duskflight.sqlite{log}")));
    }
    fs::write(farm.path("duskflight.sqlite"), copy).unwrap();
    let daemon = start(&farm);
    daemon.looks_until("the answers are known again", || all_is_told(&farm, 2));
    daemon.stop("-TERM");
    assert_eq!(readings(&farm), stored);
    assert_eq!(farm.mails(), told, "nobody hears of it again");
    let left = rows(&farm.database(), "SELECT * FROM message_left");
    assert!(left.is_empty(), "{left:?}");
}
