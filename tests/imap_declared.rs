//! What is declared of a mailbox, and whether it is right.

use duskflight::config::Config;

use crate::harness::{Farm, printed, run};
use crate::imap::{bring, flags};
use crate::mailserver::{MailServer, PASSWORD};

#[test]
fn a_check_logs_in_and_says_what_is_wrong_without_looking_at_a_message() {
    let server = MailServer::start(&["office"]);
    bring(&server, &["an answer"]);
    let farm = Farm::new("2022-04-30");
    farm.write("password", &format!("{PASSWORD}\n"));
    let port = server.imap_port;
    let authority = server.authority("ca");
    let table = format!(
        "[inbox.imap]\nhost = \"localhost\"\nport = {port}\nsecurity = \"starttls\"\nusername = \"office\"\n\
         password_file = \"password\"\nca_file = \"{authority}\"\n\n[mail]\n"
    );
    farm.change("[mail]\n", &table);
    let check = ["check", "--online", "--config", farm.config()];
    let check = [&check[..], &["--as-of", "2022-04-30"]].concat();
    let said = printed(&check);
    let words = "answers, encrypted, logged in; new mail is heard of at once";
    assert!(
        said.contains(&format!("inbox: localhost:{port} {words}")),
        "{said}"
    );
    assert_eq!(flags(&server, "INBOX"), [""]);

    farm.write("password", "hunter2\n");
    let output = run(&check);
    assert_eq!(output.status.code(), Some(75));
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(
        said.contains("inbox: localhost") && said.contains("the login was refused"),
        "{said}"
    );
    assert!(!said.contains("hunter2"), "{said}");
}

/// What is said of a farm with this `[inbox.imap]`: its faults, or nothing.
fn said_of(table: &str) -> String {
    let farm = Farm::new("2022-04-30");
    farm.write("password", "hunter2\n");
    let mail = "[mail]\n";
    farm.change(mail, &format!("[inbox.imap]\n{table}\n{mail}"));
    let said = Config::read(farm.config().as_ref())
        .map_or_else(|error| error.to_string(), |_| String::new());
    assert!(!said.contains("hunter2"), "{said}");
    said
}

#[test]
fn a_mailbox_that_would_show_the_password_or_contradict_itself_is_refused() {
    let host = "host = \"imap.farm.example\"\n";
    let whole = "host = \"imap.farm.example\"\nsecurity = \"tls\"\nusername = \"office\"\n";
    let file = "password_file = \"password\"\n";
    assert_eq!(said_of(&format!("{whole}{file}")), "");
    assert_eq!(
        said_of(&format!("{whole}token_command = [\"token\", \"office\"]")),
        ""
    );
    let local = "host = \"127.0.0.1\"\nsecurity = \"none\"\nusername = \"office\"\n";
    assert_eq!(said_of(&format!("{local}{file}")), "");
    let with = |line: &str| format!("{whole}{file}{line}\n");
    for (table, expected) in [
        (
            format!("{host}username = \"office\"\nsecurity = \"none\"\n{file}"),
            "unprotected",
        ),
        (format!("{host}username = \"office\"\n{file}"), "security"),
        (format!("{host}security = \"tls\"\n{file}"), "username"),
        (
            format!("{host}security = \"tls\"\nusername = \"\"\n{file}"),
            "username must be",
        ),
        (
            format!("{host}security = \"ssl\"\nusername = \"office\"\n{file}"),
            "starttls",
        ),
        (with("token_command = [\"token\"]"), "give one of the two"),
        (format!("{whole}token_command = []"), "write a program"),
        (
            format!("{whole}token_command = \"token office\""),
            "expected a sequence",
        ),
        (with("ca_file = \"password\""), "PEM"),
        (with("port = 0"), "inbox.imap.port"),
        (with("timeout_s = 0"), "1 to 600"),
        (with("folder = \"\""), "folder"),
        (with("folder = \"Posteingang/März\""), "plain letters"),
        (with("done_folder = \"Done*\""), "plain letters"),
        (with("done_folder = \"inbox\""), "must move out"),
        (with("password = \"hunter2\""), "password"),
    ] {
        let said = said_of(&table);
        assert!(said.contains(expected), "{table}: {said:?}");
    }
}
