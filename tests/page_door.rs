//! Who comes in at the page of the real program, and who does not.

use std::net::TcpListener;
use std::process::Command;

use crate::daemon::{start, wait_for};
use crate::harness::{Farm, printed, refused};
use crate::page_client::{Browser, PASSWORD, Shown, free_port};

fn shown() -> Shown {
    Shown::of(Farm::new("2022-04-15"), "")
}

/// Somebody who has signed in.
fn browser_of(shown: &Shown, person: &str) -> Browser {
    let mut browser = shown.browser();
    let answer = browser.set_password(person, &shown.code(person));
    assert_eq!(answer.status, 303, "{}", answer.text);
    browser
}

#[test]
fn a_password_is_set_with_a_code_once_and_sessions_are_ended_from_the_box() {
    let shown = shown();
    let config = shown.farm.config();
    let code = shown.code("ada");
    let mut browser = shown.browser();
    let sent_on = browser.get("/");
    assert_eq!(
        (sent_on.status, sent_on.header("location")),
        (303, "/sign-in")
    );
    assert_eq!(browser.set_password("ada", &code).header("location"), "/");
    let farm = browser.get("/");
    assert!(farm.status == 200 || farm.status == 503, "{}", farm.status);
    assert_eq!(
        shown.browser().set_password("ada", &code).status,
        403,
        "used twice"
    );

    let people = printed(&["page", "people", "--config", config]);
    let row = |id: &str| people.lines().find(|line| line.contains(id)).unwrap();
    assert!(row("Ada Vance").trim_end().ends_with(" 1"), "{people}");
    assert!(row("Gil Marrow").trim_end().ends_with(" 0"), "{people}");

    let said = printed(&["page", "end-sessions", "gil", "--config", config]);
    assert_eq!(said, "There was no session.\n");
    assert_eq!(browser.get("/account").status, 200);
    let said = printed(&["page", "end-sessions", "--config", config]);
    assert_eq!(said, "One session was ended.\n");
    assert_eq!(browser.get("/account").status, 303);
    assert_eq!(browser.sign_in("ada@test.example", PASSWORD).status, 303);
    assert_eq!(browser.get("/account").status, 200);
    let said = refused(2, &["page", "code", "eve", "--config", config]);
    assert!(
        said.contains("no such person; there are ada, gil"),
        "{said}"
    );
    shown.daemon.stop("-TERM");
}

#[test]
fn a_name_that_points_here_from_elsewhere_gets_nothing() {
    let shown = shown();
    let mut browser = browser_of(&shown, "ada");
    let port = shown.at.port();
    for host in [
        "evil.example",
        &format!("evil.example:{port}"),
        "192.168.7.4",
        "",
    ] {
        for (method, path) in [("GET", "/"), ("GET", "/page.css"), ("POST", "/sign-in")] {
            let request = browser.request(method, path, &[("Host", host)], "");
            let answer = browser.ask(&request);
            assert_eq!(answer.status, 421, "{method} {path} of {host:?}");
            assert_eq!(answer.header("x-content-type-options"), "nosniff");
        }
    }
    let known = format!("localhost:{port}");
    let request = browser.request("GET", "/account", &[("Host", &known)], "");
    assert_eq!(browser.ask(&request).status, 200);
    shown.daemon.stop("-TERM");
}

#[test]
fn a_form_that_no_page_of_ours_sent_changes_nothing() {
    let shown = shown();
    let mut browser = browser_of(&shown, "ada");
    let proof = browser.get("/account").proof();
    let whole = format!("proof={proof}");
    let foreign: [(&[(&str, &str)], &str); 6] = [
        (&[], ""),
        (&[], "proof=made-up"),
        (&[("Origin", "http://evil.example")], &whole),
        (&[("Origin", "null")], &whole),
        (&[("Origin", "")], &whole),
        (&[("Sec-Fetch-Site", "cross-site")], &whole),
    ];
    for (headers, body) in foreign {
        let request = browser.request("POST", "/end-sessions", headers, body);
        assert_eq!(browser.ask(&request).status, 403, "{headers:?} {body}");
    }
    for path in ["/end-sessions", "/sign-out"] {
        assert_eq!(browser.get(path).status, 405, "a look changes nothing");
    }
    assert_eq!(browser.get("/account").status, 200);
    assert_eq!(browser.send("/end-sessions", &proof, "").status, 303);
    assert_eq!(browser.get("/account").status, 303);
    shown.daemon.stop("-TERM");
}

#[test]
fn without_a_sign_in_it_is_shown_to_this_machine_alone_and_forms_need_their_proof_all_the_same() {
    let shown = Shown::of(Farm::new("2022-04-15"), "sign_in = false");
    let mut browser = shown.browser();
    let is_shown = |browser: &mut Browser| browser.get("/").status == 200;
    wait_for("the farm is shown", || is_shown(&mut shown.browser()));
    let proof = browser.get("/sign-in").proof();
    let request = browser.request("POST", "/sign-in", &[], "person=ada&password=x");
    assert_eq!(browser.ask(&request).status, 403);
    let foreign = [("Sec-Fetch-Site", "cross-site")];
    let request = browser.request("POST", "/sign-in", &foreign, &format!("proof={proof}"));
    assert_eq!(browser.ask(&request).status, 403);
    let proxied = browser.request("GET", "/", &[("X-Forwarded-For", "127.0.0.1")], "");
    assert_eq!(browser.ask(&proxied).status, 403);
    shown.daemon.stop("-TERM");

    let farm = Farm::new("2022-04-15");
    farm.change(
        "[mail]",
        "[page]\nlisten = \"192.168.7.4:8790\"\nsign_in = false\n\n[mail]",
    );
    let said = refused(78, &["check", "--config", farm.config()]);
    assert!(
        said.contains("page.sign_in = false: whoever is in the network"),
        "{said}"
    );
}

#[test]
fn who_signs_in_gets_a_token_that_nobody_had_before() {
    let shown = shown();
    let planted = browser_of(&shown, "gil");
    browser_of(&shown, "ada");
    let mut victim = planted.clone();
    assert_eq!(victim.sign_in("ada", PASSWORD).status, 303);
    assert_ne!(victim.session(), planted.session());
    assert_eq!(
        planted.clone().get("/account").status,
        303,
        "the planted one has ended"
    );
    shown.daemon.stop("-TERM");
}

#[test]
fn who_is_taken_out_of_the_configuration_is_out() {
    let shown = shown();
    shown.farm.add_grower("tom");
    let taken_over = || shown.daemon.said("changed configuration taken over");
    let code = std::cell::OnceCell::new();
    shown
        .daemon
        .looks_until("tom is known", || taken_over() > 0);
    let code = code.get_or_init(|| shown.code("tom"));
    let mut tom = shown.browser();
    assert_eq!(tom.set_password("tom", code).status, 303);
    assert_eq!(tom.get("/account").status, 200);
    let before = taken_over();
    shown.farm.change("id = \"tom\"", "id = \"tim\"");
    let blocks = std::fs::read_to_string(shown.farm.path("blocks.csv")).unwrap();
    shown
        .farm
        .write("blocks.csv", &blocks.replace(",tom,", ",tim,"));
    shown.daemon.looks_until("tom is gone", || {
        taken_over() > before && tom.get("/account").status == 303
    });
    assert_eq!(shown.browser().sign_in("tom", PASSWORD).status, 403);
    shown.daemon.stop("-TERM");
}

/// An authority, and a certificate for `localhost` with its key.
fn certify(farm: &Farm) {
    let file = |name: &str| farm.path(name).display().to_string();
    let openssl = |arguments: &[&str]| {
        let done = Command::new("openssl")
            .args(["req", "-x509", "-newkey", "ec", "-pkeyopt"])
            .args(["ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"])
            .args(arguments)
            .output()
            .unwrap();
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
    };
    let (ca, ca_key) = (file("ca.pem"), file("ca-key.pem"));
    openssl(&["-subj", "/CN=farm office", "-keyout", &ca_key, "-out", &ca]);
    let of_leaf = [
        "subjectAltName=DNS:localhost",
        "basicConstraints=critical,CA:FALSE",
    ];
    openssl(&[
        "-subj",
        "/CN=localhost",
        "-CA",
        &ca,
        "-CAkey",
        &ca_key,
        "-keyout",
        &file("page-key.pem"),
        "-out",
        &file("page.pem"),
        "-addext",
        of_leaf[0],
        "-addext",
        of_leaf[1],
    ]);
}

#[test]
fn cookies_are_for_https_alone_where_it_is_asked_by_that() {
    let farm = Farm::new("2022-04-15");
    certify(&farm);
    let by_tls = Shown::of(farm, "certificate = \"page.pem\"\nkey = \"page-key.pem\"");
    let authority = by_tls.farm.path("ca.pem");
    wait_for("the page is shown", || {
        by_tls.browser_by_tls(&authority).get("/sign-in").status == 200
    });
    let mut browser = by_tls.browser_by_tls(&authority);
    let answer = browser.set_password("ada", &by_tls.code("ada"));
    let cookie = answer.header("set-cookie");
    assert!(cookie.starts_with("__Host-duskflight="), "{cookie}");
    assert!(
        cookie.ends_with("; Path=/; HttpOnly; SameSite=Lax; Max-Age=15552000; Secure"),
        "{cookie}"
    );
    assert_eq!(browser.get("/account").status, 200);
    by_tls.daemon.stop("-TERM");

    let plain = shown();
    let answer = plain.browser().set_password("ada", &plain.code("ada"));
    let cookie = answer.header("set-cookie");
    assert!(cookie.starts_with("duskflight="), "{cookie}");
    assert!(
        cookie.ends_with("; Path=/; HttpOnly; SameSite=Lax; Max-Age=15552000"),
        "{cookie}"
    );
    // Behind a proxy that was asked by https; whose word nobody takes unless it is trusted.
    let mut browser = plain.browser();
    let forwarded = [
        ("X-Forwarded-Proto", "https"),
        ("X-Forwarded-For", "8.8.8.8"),
    ];
    let request = browser.request("GET", "/sign-in", &forwarded, "");
    assert!(
        !browser
            .ask(&request)
            .header("set-cookie")
            .contains("Secure")
    );
    plain.daemon.stop("-TERM");
    let proxied = Shown::of(Farm::new("2022-04-15"), "trusted_proxies = [\"127.0.0.1\"]");
    let mut browser = proxied.browser();
    let request = browser.request("GET", "/sign-in", &forwarded, "");
    let cookie = browser.ask(&request);
    let cookie = cookie.header("set-cookie");
    assert!(
        cookie.starts_with("__Host-duskflight-visit=") && cookie.ends_with("; Secure"),
        "{cookie}"
    );
    let request = browser.request("GET", "/sign-in", &forwarded[1..], "");
    assert_eq!(
        browser.ask(&request).status,
        403,
        "from outside without https"
    );
    proxied.daemon.stop("-TERM");
}

#[test]
fn a_place_that_is_taken_or_not_there_is_said_once_and_holds_up_nothing() {
    let taken = TcpListener::bind(("127.0.0.1", free_port())).unwrap();
    let taken_at = taken.local_addr().unwrap().to_string();
    for (listen, why) in [
        (&*taken_at, "nothing can listen at"),
        ("none0:8790", "no interface none0"),
    ] {
        let farm = Farm::new("2022-12-31");
        crate::daemon::in_the_small_hours(&farm);
        farm.change("[mail]", &format!("[page]\nlisten = {listen:?}\n\n[mail]"));
        let daemon = start(&farm);
        daemon.looks_until("the digest is delivered", || !farm.mails().is_empty());
        assert_eq!(daemon.said("the page cannot be shown"), 1, "{listen}");
        let said = daemon.said_last("the page cannot be shown");
        assert!(said.contains(why), "{said}");
        daemon.stop("-TERM");
    }
}

#[test]
fn a_place_that_is_changed_while_it_runs_counts_from_the_next_start() {
    let shown = shown();
    shown
        .farm
        .change(&shown.at.to_string(), &format!("127.0.0.1:{}", free_port()));
    let said = || shown.daemon.said("what it says counts from the next start");
    shown.daemon.looks_until("it says so", || said() == 1);
    assert_eq!(shown.browser().get("/sign-in").status, 200);
    shown.daemon.stop("-TERM");
}

#[test]
fn what_is_wrong_with_its_part_of_the_configuration_is_said_with_line_and_remedy() {
    let check = |lines: &str, expected: &[&str]| {
        let farm = Farm::new("2022-04-15");
        certify(&farm);
        farm.write("empty.pem", "");
        farm.change("[mail]", &format!("[page]\n{lines}\n\n[mail]"));
        let said = refused(78, &["check", "--config", farm.config()]);
        for words in expected {
            assert!(said.contains(words), "{lines}: {said}");
        }
    };
    let listen = "listen = \"127.0.0.1:8790\"";
    check(
        "listen = \"0.0.0.0:8790\"",
        &["toml:13: page.listen", "name the interface"],
    );
    check(
        "listen = \"farm-office.local:8790\"",
        &["write an address of this machine"],
    );
    check("lisen = \"127.0.0.1:8790\"", &["lisen", "listen"]);
    check(
        &format!("{listen}\nnames = [\"http://farm\", \"farm:80\", \"good.local\"]"),
        &["\"http://farm\" is no name", "\"farm:80\" is no name"],
    );
    check(
        &format!("{listen}\ntrusted_proxies = [\"proxy.local\"]"),
        &["page.trusted_proxies: \"proxy.local\" is no address"],
    );
    check(
        &format!("{listen}\nsign_in = false\ntrusted_proxies = [\"127.0.0.1\"]"),
        &["page.sign_in = false: whoever gets through a trusted proxy"],
    );
    check(
        &format!("{listen}\nkey = \"page-key.pem\""),
        &["page.key: give the certificate, too"],
    );
    check(
        &format!("{listen}\ncertificate = \"page.pem\""),
        &["page.certificate: give its key, too"],
    );
    let pair = |certificate: &str, key: &str| {
        format!("{listen}\ncertificate = {certificate:?}\nkey = {key:?}")
    };
    check(
        &pair("none.pem", "page-key.pem"),
        &["page.certificate: ", "none.pem cannot be read"],
    );
    check(
        &pair("empty.pem", "page-key.pem"),
        &["the certificate is none in PEM form"],
    );
    check(
        &pair("page.pem", "empty.pem"),
        &["the key is none in PEM form"],
    );
    check(
        &pair("page.pem", "ca-key.pem"),
        &["cannot be used together"],
    );
}
