//! The client against a server that misbehaves in every way seen in the field.

use std::io::Write;
use std::time::Instant;

use flate2::Compression;
use flate2::write::GzEncoder;

use super::super::test_server::{Reply, TestServer, head};
use super::*;

const MS: fn(u64) -> Duration = Duration::from_millis;

/// Limits in time that only a hang reaches, however busy the machine is.
fn patient() -> Limits {
    Limits {
        connect: MS(60_000),
        read: MS(60_000),
        total: MS(60_000),
        overall: MS(120_000),
        body_bytes: 10_000,
        tries: 3,
        first_wait: MS(1),
        longest_wait: MS(2000),
        redirects: 3,
    }
}

/// Limits that a server's silence reaches soon.
fn short() -> Limits {
    Limits {
        read: MS(300),
        total: MS(900),
        ..patient()
    }
}

fn named(contact: &str) -> Caller<'_> {
    Caller {
        contact: Some(contact),
        proxy: None,
    }
}

fn client(limits: Limits) -> Client {
    Client::new(limits, named("adviser@example.org")).unwrap()
}

fn once() -> Limits {
    Limits {
        tries: 1,
        ..short()
    }
}

async fn get(server: &TestServer, limits: Limits) -> Result<Vec<u8>, GetError> {
    client(limits).get(&server.url("/days?key=secret")).await
}

fn chain(error: &GetError) -> String {
    let shown = error_chain(error);
    assert!(!shown.contains("secret"), "a key is shown: {shown}");
    shown
}

fn gzip(body: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(body).unwrap();
    encoder.finish().unwrap()
}

#[tokio::test]
async fn an_answer_comes_whole_and_the_request_names_program_and_contact() {
    let server = TestServer::start(vec![Reply::ok("[]")]);
    assert_eq!(get(&server, patient()).await.unwrap(), b"[]");
    let request = &server.requests()[0].to_lowercase();
    assert!(
        request.starts_with("get /days?key=secret http/1.1"),
        "{request}"
    );
    let agent = concat!(
        "user-agent: duskflight/",
        env!("CARGO_PKG_VERSION"),
        " (+adviser@example.org)"
    );
    assert!(request.contains(agent), "{request}");
    assert!(request.contains("accept-encoding: gzip"), "{request}");
    assert!(!request.contains("referer"), "{request}");
}

#[test]
fn a_contact_is_optional_and_cannot_break_the_request() {
    assert_eq!(
        user_agent(None).unwrap(),
        concat!("duskflight/", env!("CARGO_PKG_VERSION"))
    );
    let error = Client::new(patient(), named("a\r\nb: c")).unwrap_err();
    assert!(error.to_string().contains(r#""a\r\nb: c""#), "{error}");
}

#[test]
fn the_certificates_compiled_in_are_usable_without_those_of_the_system() {
    let _ = rustls::crypto::ring::default_provider().install_default();
    assert!(bundled_certificates().count() > 50);
    let built = frugal(patient())
        .tls_certs_only(bundled_certificates())
        .build();
    assert!(built.is_ok(), "{built:?}");
}

#[tokio::test]
async fn a_late_answer_is_given_up_and_asked_for_again() {
    let server = TestServer::start(vec![Reply::Silence, Reply::ok("late")]);
    let often = Limits {
        tries: 50,
        ..short()
    };
    assert_eq!(get(&server, often).await.unwrap(), b"late");
    let server = TestServer::start(vec![Reply::Silence]);
    let error = get(&server, short()).await.unwrap_err();
    assert!(matches!(&error, GetError::Transport { source, .. } if source.is_timeout()));
    // The server reads the last try once it has seen the ones before go.
    let begun = Instant::now();
    while server.requests().len() < 3 && begun.elapsed() < MS(60_000) {
        tokio::time::sleep(MS(10)).await;
    }
    assert_eq!(server.requests().len(), 3);
}

#[tokio::test]
async fn a_header_that_drips_is_given_up_within_the_total() {
    let server = TestServer::start(vec![Reply::Drip(head("200 OK", &[], Some(2)), MS(100))]);
    let error = get(&server, once()).await.unwrap_err();
    assert!(matches!(&error, GetError::Transport { source, .. } if source.is_timeout()));
}

#[tokio::test]
async fn a_body_that_drips_is_given_up_within_the_total() {
    let mut reply = head("200 OK", &[], None);
    reply.extend_from_slice(&[b'x'; 400]);
    let server = TestServer::start(vec![Reply::Drip(reply, MS(8))]);
    let error = get(&server, once()).await.unwrap_err();
    assert!(matches!(&error, GetError::Transport { source, .. } if source.is_timeout()));
}

#[tokio::test]
async fn a_body_without_end_stops_at_the_limit_and_is_not_asked_for_again() {
    let server = TestServer::start(vec![Reply::Endless(head("200 OK", &[], None))]);
    let error = get(&server, patient()).await.unwrap_err();
    assert!(
        matches!(error, GetError::TooLarge { most: 10_000, .. }),
        "{error:?}"
    );
    assert!(chain(&error).contains("\"xxx"), "{error}");
    assert_eq!(server.requests().len(), 1);
}

#[tokio::test]
async fn the_size_limit_counts_unpacked_bytes() {
    let bomb = gzip(&vec![b' '; 50_000_000]);
    assert!(bomb.len() < 60_000);
    let server = TestServer::start(vec![Reply::answer(
        "200 OK",
        &["content-encoding: gzip"],
        bomb,
    )]);
    let limits = Limits {
        body_bytes: 100_000,
        ..patient()
    };
    let error = get(&server, limits).await.unwrap_err();
    assert!(
        matches!(error, GetError::TooLarge { most: 100_000, .. }),
        "{error:?}"
    );
}

#[tokio::test]
async fn a_packed_answer_is_unpacked() {
    let packed = Reply::answer("200 OK", &["content-encoding: gzip"], gzip(b"[1, 2]"));
    let server = TestServer::start(vec![packed]);
    assert_eq!(get(&server, patient()).await.unwrap(), b"[1, 2]");
}

#[tokio::test]
async fn an_answer_that_breaks_off_is_asked_for_again() {
    let plain = [head("200 OK", &[], Some(100)), b"half".to_vec()].concat();
    let packed = gzip(b"an answer of some length");
    let packed_head = head("200 OK", &["content-encoding: gzip"], Some(packed.len()));
    let packed = [packed_head, packed[..20].to_vec()].concat();
    let script = vec![
        Reply::Bytes(plain),
        Reply::Bytes(packed),
        Reply::ok("whole"),
    ];
    let server = TestServer::start(script);
    assert_eq!(get(&server, patient()).await.unwrap(), b"whole");
}

#[tokio::test]
async fn a_body_that_cannot_be_unpacked_is_not_asked_for_again() {
    let mut damaged = gzip(b"an answer of some length");
    damaged[15] ^= 0xff;
    for body in [b"not packed at all", &damaged[..]] {
        let reply = Reply::answer("200 OK", &["content-encoding: gzip"], body);
        let server = TestServer::start(vec![reply]);
        let error = get(&server, patient()).await.unwrap_err();
        assert!(matches!(error, GetError::Transport { .. }), "{error:?}");
        assert_eq!(server.requests().len(), 1);
    }
}

#[tokio::test]
async fn a_refusal_is_told_with_its_words_and_not_asked_for_again() {
    let check = async |status: &str, part: &str| {
        let page = "<h1>No\r\nsuch thing</h1>";
        let server = TestServer::start(vec![Reply::answer(status, &[], page)]);
        let error = get(&server, patient()).await.unwrap_err();
        let shown = chain(&error);
        assert!(shown.contains(part), "{shown}");
        assert!(shown.contains("\"<h1>No such thing</h1>\""), "{shown}");
        assert_eq!(server.requests().len(), 1, "{status}");
    };
    check("400 Bad Request", "answered 400 Bad Request").await;
    check("403 Forbidden", "name no contact").await;
    check("404 Not Found", "check the address").await;
}

#[tokio::test]
async fn an_overloaded_server_gets_another_try() {
    let script = vec![
        Reply::answer("503 Service Unavailable", &[], "<html>"),
        Reply::ok("[]"),
    ];
    let server = TestServer::start(script);
    assert_eq!(get(&server, patient()).await.unwrap(), b"[]");
    assert_eq!(server.requests().len(), 2);
}

#[tokio::test]
async fn the_tries_come_to_an_end() {
    let server = TestServer::start(vec![Reply::answer("500 Oops", &[], "")]);
    let error = get(&server, patient()).await.unwrap_err();
    assert!(
        matches!(&error, GetError::Status { status, .. } if *status == 500),
        "{error:?}"
    );
    assert_eq!(server.requests().len(), 3);
}

#[tokio::test]
async fn the_wait_a_server_asks_for_is_kept() {
    for retry_after in [
        &["retry-after: 1"][..],
        &[
            "date: Sat, 06 Jul 2024 10:00:00 GMT",
            "retry-after: Sat, 06 Jul 2024 10:00:01 GMT",
        ],
    ] {
        let busy = Reply::answer("429 Too Many Requests", retry_after, "");
        let server = TestServer::start(vec![busy, Reply::ok("[]")]);
        let started = Instant::now();
        assert_eq!(get(&server, patient()).await.unwrap(), b"[]");
        assert!(started.elapsed() >= MS(1000), "{:?}", started.elapsed());
    }
}

#[tokio::test]
async fn a_server_that_wants_a_long_wait_is_left_alone() {
    let busy = Reply::answer("503 Service Unavailable", &["retry-after: 3600"], "");
    let server = TestServer::start(vec![busy]);
    let error = get(&server, patient()).await.unwrap_err();
    assert!(
        chain(&error).contains("asked to come back later, in 3600 s"),
        "{error}"
    );
    assert_eq!(server.requests().len(), 1);
}

#[tokio::test]
async fn all_tries_together_are_bounded() {
    let server = TestServer::start(vec![Reply::Silence]);
    let limits = Limits {
        tries: 1000,
        overall: MS(700),
        ..short()
    };
    let error = get(&server, limits).await.unwrap_err();
    assert!(matches!(error, GetError::OutOfTime { .. }), "{error:?}");
}

#[tokio::test]
async fn a_port_where_nobody_listens_is_an_error_that_names_the_address() {
    let server = TestServer::start(vec![Reply::ok("")]);
    let url = server.url("/days?key=secret");
    drop(server);
    let error = client(patient()).get(&url).await.unwrap_err();
    assert!(
        matches!(&error, GetError::Transport { source, .. } if source.is_connect()),
        "{error:?}"
    );
    assert!(chain(&error).contains("/days?…"), "{error}");
}

#[tokio::test]
async fn a_few_redirects_are_followed() {
    let hop = || Reply::redirect("/moved?key=secret");
    let server = TestServer::start(vec![hop(), hop(), hop(), Reply::ok("[]")]);
    assert_eq!(get(&server, patient()).await.unwrap(), b"[]");
    assert!(
        server
            .requests()
            .iter()
            .all(|head| !head.to_lowercase().contains("referer"))
    );
}

#[tokio::test]
async fn a_redirect_loop_ends_at_once() {
    let server = TestServer::start(vec![Reply::redirect("/days?key=secret")]);
    let error = get(&server, patient()).await.unwrap_err();
    assert!(
        chain(&error).contains("redirected more than 3 times"),
        "{}",
        chain(&error)
    );
    assert_eq!(server.requests().len(), 4);
}

#[tokio::test]
async fn a_query_does_not_follow_to_another_host() {
    let other = TestServer::start(vec![Reply::ok("[]")]);
    let with_key = format!("http://localhost:{}/days?key=secret", other.port());
    let server = TestServer::start(vec![Reply::redirect(&with_key)]);
    let error = get(&server, patient()).await.unwrap_err();
    assert!(
        chain(&error).contains("another host with a query"),
        "{}",
        chain(&error)
    );
    assert_eq!(server.requests().len(), 1);
    assert_eq!(other.requests().len(), 0);
}

#[test]
fn a_redirect_never_leaves_https() {
    let check = |from: &str, to: &str, expected| {
        let url = |text: &str| Url::parse(text).unwrap();
        assert_eq!(
            refused_step(&url(from), &url(to)),
            expected,
            "{from} to {to}"
        );
    };
    check(
        "https://a.example/x",
        "http://a.example/x",
        Some(RedirectRefused::ToPlainHttp),
    );
    check("http://a.example/x?k=1", "https://a.example/x?k=1", None);
    check("https://a.example/x?k=1", "https://b.example/x", None);
    check(
        "https://a.example/x",
        "https://b.example/x?k=1",
        Some(RedirectRefused::QueryToOtherHost),
    );
}

/// A server that answers every request of its first connection alike; gives what it was asked there.
fn keeping_open(answer: &'static str) -> (HttpUrl, std::thread::JoinHandle<Vec<String>>) {
    use std::io::{BufRead, BufReader, Write};
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let url = HttpUrl::new(&format!("http://{}/days", listener.local_addr().unwrap())).unwrap();
    let server = std::thread::spawn(move || {
        let (stream, _) = listener.accept().unwrap();
        let mut asked = Vec::new();
        let mut lines = BufReader::new(stream.try_clone().unwrap()).lines();
        let mut head = String::new();
        while let Some(Ok(line)) = lines.next() {
            head.push_str(&line);
            head.push('\n');
            if line.is_empty() {
                asked.push(std::mem::take(&mut head));
                let _ = (&stream).write_all(answer.as_bytes());
            }
        }
        asked
    });
    (url, server)
}

/// What a server was asked, once the client lets go of it.
async fn asked_of(server: std::thread::JoinHandle<Vec<String>>, client: Client) -> Vec<String> {
    drop(client);
    let ended = tokio::task::spawn_blocking(move || server.join());
    ended.await.unwrap().unwrap()
}

#[tokio::test]
async fn one_host_is_asked_over_one_connection() {
    let (url, server) = keeping_open("HTTP/1.1 200 OK\r\ncontent-length: 4\r\n\r\ndays");
    let client = client(patient());
    for _ in 0..3 {
        assert_eq!(client.get(&url).await.unwrap(), b"days");
    }
    assert_eq!(asked_of(server, client).await.len(), 3);
}

#[tokio::test]
async fn every_request_goes_through_the_proxy_that_is_named() {
    let (proxy, server) = keeping_open("HTTP/1.1 200 OK\r\ncontent-length: 4\r\n\r\ndays");
    let caller = Caller {
        contact: None,
        proxy: Some(&proxy),
    };
    let client = Client::new(patient(), caller).unwrap();
    let url = HttpUrl::new("http://stations.example/days").unwrap();
    assert_eq!(client.get(&url).await.unwrap(), b"days");
    let asked = asked_of(server, client).await;
    assert!(
        asked[0].starts_with("GET http://stations.example/days "),
        "{asked:?}"
    );
}

#[tokio::test]
async fn what_is_known_is_not_sent_again() {
    let sent = [
        "date: Mon, 20 Jun 2022 12:00:00 GMT",
        "last-modified: Mon, 20 Jun 2022 04:00:00 GMT",
        "etag: \"a1\"",
    ];
    let server = TestServer::start(vec![
        Reply::answer("200 OK", &sent, "days"),
        Reply::answer("304 Not Modified", &[], ""),
    ]);
    let client = client(patient());
    let url = server.url("/station.dly");
    let first = client.get_newer(&url, None).await.unwrap().unwrap();
    assert_eq!(first.body, b"days");
    let second = client.get_newer(&url, first.version.as_ref()).await;
    assert_eq!(second.unwrap(), None);
    let asked = server.requests()[1].to_lowercase();
    assert!(asked.contains("if-none-match: \"a1\""), "{asked}");
    assert!(
        asked.contains("if-modified-since: mon, 20 jun 2022 04:00:00 gmt"),
        "{asked}"
    );
    // Nobody asked for newer ones only.
    let error = client.get(&url).await.unwrap_err();
    assert!(error.to_string().contains("304"), "{error}");
}
