//! Round mails that leave by a real mail server, answers that come in by it, and their receipts.

use std::fs;
use std::time::{Duration, Instant};

use chrono::{Days, NaiveDate};

use crate::answered_farm::{
    all_is_told, come_to_sam, farm_of_today, mailbox, readings, receipts, says, words,
};
use crate::answers::Sent;
use crate::daemon::{Running, start, wait_for};
use crate::harness::{Farm, rows};
use crate::imap::flags;
use crate::mailserver::MailServer;

/// A farm at work, its mail server, and the round mail that has come to sam.
struct Scene {
    server: MailServer,
    farm: Farm,
    today: NaiveDate,
    daemon: Option<Running>,
    round: Sent,
}

impl Scene {
    fn new() -> Self {
        let server = MailServer::start(&["office", "sam", "ada", "gil"]);
        let (farm, today) = farm_of_today(Some(&server), &mailbox(&server));
        let daemon = start(&farm);
        daemon.looks_until("the round mail has come", || {
            come_to_sam(&server).len() == 1
        });
        let round = Sent::read(&come_to_sam(&server)[0]);
        Self {
            server,
            farm,
            today,
            daemon: Some(daemon),
            round,
        }
    }

    fn bring(&self, message: &str) {
        let sender = "sam@test.example";
        // As the Reply-To has it, tag and all.
        let to = message.split("To: <").nth(1).unwrap();
        let to = to.split('>').next().unwrap();
        self.server.bring(sender, to, message.as_bytes());
    }

    /// The newest receipt, once there are as many, and how many there are.
    fn receipt(&self, wanted: usize) -> Sent {
        wait_for("the receipt", || {
            receipts(&come_to_sam(&self.server)).len() >= wanted
        });
        let mut all = receipts(&come_to_sam(&self.server));
        assert_eq!(all.len(), wanted);
        all.pop().unwrap()
    }

    fn stop(&mut self) {
        self.daemon.take().unwrap().stop("-TERM");
    }

    fn start(&mut self) {
        self.daemon = Some(start(&self.farm));
    }

    fn in_folder(&self, folder: &str, wanted: usize) {
        self.server.wait_for("the messages in the folder", || {
            self.server.in_folder("office", folder).len() == wanted
        });
    }

    /// A reading of sam's as it stands by mail.
    fn reading(&self, days_ago: u64, trap: &str, eggs: u32) -> Vec<String> {
        let day = self.today - Days::new(days_ago);
        let all = [&day.to_string(), trap, &eggs.to_string(), "sam", "mail"];
        all.map(str::to_owned).to_vec()
    }
}

#[test]
fn within_a_minute_an_answer_is_stored_and_told_of_and_other_mail_stays_unread() {
    let scene = Scene::new();
    assert!(
        scene.round.subject.contains("round north"),
        "{}",
        scene.round.subject
    );
    assert!(scene.round.reply_to.starts_with("office+"));
    let letter = b"From: fay@far.example\nTo: office@test.example\nSubject: hay\n\ne1 12\n";
    scene
        .server
        .bring("fay@far.example", "office@test.example", letter);
    scene.in_folder("INBOX", 1);
    let begun = Instant::now();
    scene.bring(&says(&scene.round, "1", "e1 14\r\ne2 0"));
    let receipt = scene.receipt(1);
    let took = begun.elapsed();
    println!("an answer was told of after {took:?}");
    assert!(took < Duration::from_secs(60));
    let stored = [scene.reading(0, "e1", 14), scene.reading(0, "e2", 0)];
    assert_eq!(readings(&scene.farm), stored);
    assert!(words(&receipt).contains("14 eggs"), "{}", words(&receipt));
    scene.in_folder("Duskflight", 1);
    assert_eq!(flags(&scene.server, "Duskflight"), ["S"]);
    assert_eq!(flags(&scene.server, "INBOX"), [""]);

    scene.bring(&says(&receipt, "2", "e1 41"));
    let receipt = scene.receipt(2);
    let corrected = words(&receipt).contains("corrected, stood as 14 eggs");
    assert!(corrected, "{}", words(&receipt));
    let stored = [scene.reading(0, "e1", 41), scene.reading(0, "e2", 0)];
    assert_eq!(readings(&scene.farm), stored);
    scene.in_folder("Duskflight", 2);
    assert_eq!(flags(&scene.server, "INBOX"), [""]);
}

#[test]
fn answers_that_came_while_the_box_was_down_are_told_of_in_one_receipt() {
    let mut scene = Scene::new();
    scene.stop();
    let days = 1..=5;
    for ago in days.clone() {
        let day = scene.today - Days::new(ago);
        scene.bring(&says(
            &scene.round,
            &ago.to_string(),
            &format!("{day}\r\ne1 {ago}"),
        ));
    }
    scene.in_folder("INBOX", 5);
    scene.start();
    let receipt = scene.receipt(1);
    let told = words(&receipt);
    for eggs in ["1 egg,", "2 eggs", "3 eggs", "4 eggs", "5 eggs"] {
        assert!(told.contains(eggs.trim_end_matches(',')), "{told}");
    }
    let stored = days
        .rev()
        .map(|ago| scene.reading(ago, "e1", u32::try_from(ago).unwrap()));
    assert_eq!(readings(&scene.farm), stored.collect::<Vec<_>>());
    wait_for("all is told", || all_is_told(&scene.farm, 5));
    scene.in_folder("Duskflight", 5);
    assert_eq!(receipts(&come_to_sam(&scene.server)).len(), 1);
}

#[test]
fn after_an_older_database_was_put_back_all_that_answers_brought_since_is_there_untold() {
    let mut scene = Scene::new();
    scene.bring(&says(&scene.round, "1", "e1 14"));
    scene.receipt(1);
    scene.stop();
    let copy = scene.farm.saved_database();
    scene.start();
    scene.bring(&says(&scene.round, "2", "e2 7\r\ne3 3000\r\ne4 5"));
    let asks = scene.receipt(2);
    scene.bring(&says(&asks, "3", "sure"));
    scene.receipt(3);
    scene.bring(&says(&scene.round, "4", "e4 9"));
    let mistaken = scene.receipt(4);
    scene.bring(&says(&mistaken, "5", "undo"));
    scene.receipt(5);
    scene.in_folder("Duskflight", 5);
    let stored = readings(&scene.farm);
    let expected = [
        scene.reading(0, "e1", 14),
        scene.reading(0, "e2", 7),
        scene.reading(0, "e3", 3000),
        scene.reading(0, "e4", 5),
    ];
    assert_eq!(stored, expected);
    scene.stop();

    let database = scene.farm.path("duskflight.sqlite");
    for log in ["-wal", "-shm"] {
        // The daemon has usually taken them away.
        let _ = fs::remove_file(scene.farm.path(&format!("duskflight.sqlite{log}")));
    }
    fs::write(database, copy).unwrap();
    assert_eq!(readings(&scene.farm), expected[..1]);
    scene.start();
    wait_for("all answers are known again", || {
        all_is_told(&scene.farm, 5)
    });
    assert_eq!(readings(&scene.farm), expected);
    // A receipt more would come before the one of what is new.
    scene.bring(&says(&scene.round, "6", "e2 8"));
    let newest = scene.receipt(6);
    assert!(
        words(&newest).contains("stood as 7 eggs"),
        "{}",
        words(&newest)
    );
    assert!(!words(&newest).contains("3000"), "{}", words(&newest));
    scene.in_folder("Duskflight", 6);
    let left = rows(&scene.farm.database(), "SELECT * FROM message_left");
    assert!(left.is_empty(), "{left:?}");
}
