//! Delivery to a real mail server: over STARTTLS and TLS, with a private authority and a login.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::Output;
use std::thread;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use crate::harness::{Farm, VISITS, duskflight, printed, rows};
use crate::mailserver::{MailServer, PASSWORD, USER};

/// A farm that sends over `port`, trusting `authority`.
fn farm(server: &MailServer, port: u16, security: &str, authority: &str) -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.write("password", &format!("{PASSWORD}\n"));
    farm.route(&format!(
        "host = \"localhost\"\nport = {port}\nsecurity = \"{security}\"\n\
         username = \"{USER}\"\npassword_file = \"password\"\nca_file = \"{}\"\n",
        server.authority(authority)
    ));
    farm.import("round.csv", VISITS);
    farm
}

fn nightly(farm: &Farm, day: &str) -> Output {
    duskflight()
        .args(["nightly", "--config", farm.config(), "--as-of", day])
        .env("DUSKFLIGHT_LOG", "trace")
        .output()
        .unwrap()
}

/// The frozen mails of a person that were sent, as a mailbox keeps them: with line ends of one byte.
fn frozen(farm: &Farm, person: &str) -> Vec<Vec<u8>> {
    let database = farm.database();
    let mut query = database
        .prepare("SELECT body FROM outbox JOIN mail_content USING (message_id) WHERE person = ?1 AND state = 'sent'")
        .unwrap();
    let bodies = query.query_map([person], |row| row.get(0)).unwrap();
    let mut mails: Vec<Vec<u8>> = bodies
        .map(|body: rusqlite::Result<Vec<u8>>| {
            String::from_utf8(body.unwrap())
                .unwrap()
                .replace("\r\n", "\n")
                .into_bytes()
        })
        .collect();
    mails.sort();
    mails
}

/// The forms in which the password is sent that stand in some bytes.
fn shown_secrets(bytes: &[u8]) -> Vec<String> {
    let both = STANDARD.encode(format!("\0{USER}\0{PASSWORD}"));
    let forms = [PASSWORD.to_owned(), STANDARD.encode(PASSWORD), both];
    let shown = |form: &String| {
        bytes
            .windows(form.len())
            .any(|part| part == form.as_bytes())
    };
    forms.into_iter().filter(shown).collect()
}

/// A morning before there is news, two with some, and whether all their mails arrive as they were frozen.
fn arrives_to_the_byte(security: &str, port: impl Fn(&MailServer) -> u16) {
    let server = MailServer::start(&["ada", "gil"]);
    let farm = farm(&server, port(&server), security, "ca");
    for day in ["2022-04-10", "2022-04-16", "2022-04-17"] {
        let output = nightly(&farm, day);
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{said}{}", server.log());
        // A login that succeeds at trace level.
        assert!(said.contains("mails delivered"), "{said}");
        assert_eq!(shown_secrets(&output.stderr), [""; 0]);
    }
    for (person, mails) in [("ada", 3), ("gil", 1)] {
        let frozen = frozen(&farm, person);
        assert_eq!(frozen.len(), mails, "{person}");
        assert!(
            server.mailbox(person, mails) == frozen,
            "{person}: {}",
            server.log()
        );
    }
    assert!(
        server
            .log()
            .contains("sasl_method=PLAIN, sasl_username=office")
    );
}

#[test]
fn mails_arrive_to_the_byte_over_starttls_with_a_login_and_a_private_authority() {
    arrives_to_the_byte("starttls", |server| server.starttls_port);
}

#[test]
fn mails_arrive_to_the_byte_over_tls_with_a_login_and_a_private_authority() {
    arrives_to_the_byte("tls", |server| server.tls_port);
}

#[test]
fn of_three_recipients_the_one_without_a_mailbox_fails_and_the_others_have_their_mail() {
    let server = MailServer::start(&["ada", "cy"]);
    let farm = farm(&server, server.starttls_port, "starttls", "ca");
    farm.change(
        "[[station]]",
        "[[person]]\nid = \"bo\"\nname = \"Bo Tarn\"\nrole = \"adviser\"\nemail = \"bo@test.example\"\n\
         phone = \"559-555-0103\"\n\n[[person]]\nid = \"cy\"\nname = \"Cy Orr\"\nrole = \"adviser\"\n\
         email = \"cy@test.example\"\nphone = \"559-555-0104\"\n\n[[station]]",
    );
    let block = |id: &str, adviser: &str| {
        format!("{id},{id} block,gil,{adviser},almond,conventional,yard,Nonpareil,,\n")
    };
    let blocks = std::fs::read_to_string(farm.path("blocks.csv")).unwrap();
    farm.write(
        "blocks.csv",
        &(blocks + &block("east", "bo") + &block("west", "cy")),
    );
    let said = farm.nightly("2022-04-16");
    assert!(
        said.contains("2 mails sent, 0 kept, 1 given up"),
        "{said}{}",
        server.log()
    );
    for person in ["ada", "cy"] {
        assert!(
            server.mailbox(person, 1) == frozen(&farm, person),
            "{person}"
        );
    }
    let states = "SELECT person, state FROM outbox WHERE kind = 'digest' ORDER BY rowid";
    assert_eq!(
        rows(&farm.database(), states),
        [["ada", "sent"], ["bo", "failed"], ["cy", "sent"]]
    );
    let status = printed(&["status", "--config", farm.config()]);
    assert!(
        status.contains("failed digest of 2022-04-16 to bo"),
        "{status}"
    );
    assert!(status.contains("550 5.1.1 <b…@test.example>"), "{status}");
}

/// Nothing was sent, nothing is lost, and `status` says why.
fn is_kept(farm: &Farm, server: &MailServer, why: &[&str]) {
    let output = nightly(farm, "2022-04-16");
    assert_eq!(output.status.code(), Some(75), "{}", server.log());
    let states = "SELECT DISTINCT state FROM outbox";
    assert_eq!(rows(&farm.database(), states), [["queued"]]);
    let status = printed(&["status", "--config", farm.config()]);
    for words in why {
        assert!(status.contains(words), "{words}: {status}");
    }
    let database = std::fs::read(farm.path("duskflight.sqlite")).unwrap();
    for bytes in [&output.stderr, &output.stdout, status.as_bytes(), &database] {
        let shows = |secret: &str| {
            bytes
                .windows(secret.len())
                .any(|part| part == secret.as_bytes())
        };
        assert!(!shows(PASSWORD) && !shows("wrong-word-4417"));
    }
}

#[test]
fn a_wrong_certificate_or_password_keeps_the_mails_until_it_is_mended() {
    let server = MailServer::start(&["ada", "gil"]);
    for (security, port) in [("starttls", server.starttls_port), ("tls", server.tls_port)] {
        let farm = farm(&server, port, security, "stranger");
        is_kept(&farm, &server, &["ca_file", "certificate"]);
    }
    let no_login = |line: &&str| line.contains("sasl");
    assert_eq!(
        server.log().lines().find(no_login),
        None,
        "a login crossed an unproven connection"
    );

    let farm = farm(&server, server.starttls_port, "starttls", "ca");
    farm.write("password", "wrong-word-4417\n");
    is_kept(&farm, &server, &["535 5.7.8", "app password"]);
    farm.write("password", &format!("{PASSWORD}\n"));
    let sent = farm.nightly("2022-04-16");
    assert!(sent.contains("1 mail sent"), "{sent}");
    assert!(server.mailbox("ada", 1) == frozen(&farm, "ada"));
}

#[test]
fn a_sender_that_the_login_does_not_own_keeps_the_mails_though_it_is_refused_late() {
    let server = MailServer::start(&["ada", "gil"]);
    let farm = farm(&server, server.starttls_port, "starttls", "ca");
    let (own, strange) = ("duskflight@test.example", "strange@test.example");
    farm.change(own, strange);
    // Postfix waits with it until the recipient is named.
    let output = nightly(&farm, "2022-04-16");
    let states = "SELECT DISTINCT state FROM outbox";
    assert_eq!(rows(&farm.database(), states), [["queued"]]);
    let log = String::from_utf8(output.stderr).unwrap();
    assert!(
        log.contains("naming the recipient") && log.contains("mail.from"),
        "{log}"
    );
}

/// What somebody on the way adds behind the server's plain "ready for TLS": replies as if all went
/// well, which the client could take for the private talk.
const FORGED: &str = "250-mail.host.example\r\n250 AUTH PLAIN\r\n235 2.7.0 welcome\r\n250 fine\r\n\
                      250 fine\r\n354 go on\r\n250 2.0.0 taken\r\n221 goodbye\r\n";

/// Passes everything on between a client and the server, with the forged replies added.
fn forger(server_port: u16) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    thread::spawn(move || {
        for client in listener.incoming() {
            let client = client.unwrap();
            let server = TcpStream::connect(("127.0.0.1", server_port)).unwrap();
            let (mut from_client, mut to_server) =
                (client.try_clone().unwrap(), server.try_clone().unwrap());
            thread::spawn(move || std::io::copy(&mut from_client, &mut to_server));
            thread::spawn(move || forge(server, client));
        }
    });
    port
}

fn forge(server: TcpStream, mut client: TcpStream) -> std::io::Result<()> {
    let mut server = BufReader::new(server);
    loop {
        let mut line = String::new();
        server.read_line(&mut line)?;
        let ready = line.starts_with("220 2.0.0");
        if ready {
            line += FORGED;
        }
        client.write_all(line.as_bytes())?;
        if ready {
            break;
        }
    }
    let mut bytes = [0; 4096];
    loop {
        match server.read(&mut bytes)? {
            0 => return Ok(()),
            length => client.write_all(&bytes[..length])?,
        }
    }
}

#[test]
fn replies_forged_behind_the_plain_ready_for_tls_are_not_believed() {
    let server = MailServer::start(&["gil"]);
    let farm = farm(&server, forger(server.starttls_port), "starttls", "ca");
    // Ada has no mailbox: only the forger says that her mail was taken.
    is_kept(&farm, &server, &["making the connection private"]);
}

#[test]
fn check_tries_the_login_and_a_test_mail_says_what_the_server_said() {
    let server = MailServer::start(&["ada"]);
    let farm = farm(&server, server.starttls_port, "starttls", "ca");
    let day = ["--config", farm.config(), "--as-of", "2022-04-16"];
    let said = printed(&[&["check", "--online"], &day[..]].concat());
    assert!(said.contains("answers, encrypted, logged in"), "{said}");
    let said = printed(&["test-mail", "ada", "--config", farm.config()]);
    assert!(
        said.contains("ada <ada@test.example>: sent, 250 2.0.0"),
        "{said}"
    );
    farm.write("password", "wrong-word-4417\n");
    let output = crate::harness::run(&[&["check", "--online"], &day[..]].concat());
    assert_eq!(output.status.code(), Some(75));
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("535 5.7.8"), "{said}");
}
