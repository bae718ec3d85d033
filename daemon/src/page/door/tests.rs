//! The door as a whole, with records and a configuration of its own, and requests as a connection hands them on.

mod sessions;

use std::net::SocketAddr;
use std::path::Path;

use axum::body::{Body, to_bytes};
use axum::http::StatusCode;
use axum::http::request::Builder;
use chrono::TimeDelta;
use hyper::service::Service;
use hyper_util::service::TowerToHyperService;
use tokio::sync::watch;

use super::*;
use crate::clock::{Clock, SetClock};
use crate::config::{Config, Listen, Page, Place};
use crate::page::code::Code;
use crate::page::peer::Peer;
use crate::page::reader::Reader;
use crate::store::{Store, StoreError, doors};

const HOST: &str = "farm-office.local:8790";
const PASSWORD: &str = "pale moths at dusk";

struct Door {
    router: Router,
    clock: Arc<SetClock>,
    farm: watch::Sender<Option<Opened>>,
    store: Store,
    by_tls: bool,
    address: &'static str,
}

/// What came back.
struct Answer {
    status: StatusCode,
    headers: axum::http::HeaderMap,
    text: String,
}

/// What a browser keeps.
#[derive(Default, Clone)]
struct Browser(Vec<(String, String)>);

impl Answer {
    fn header(&self, name: &str) -> &str {
        self.headers
            .get(name)
            .map_or("", |value| value.to_str().unwrap())
    }

    fn proof(&self) -> String {
        let (_, after) = self.text.split_once("name=\"proof\" value=\"").unwrap();
        after.split_once('"').unwrap().0.to_owned()
    }
}

impl Browser {
    fn take(&mut self, answer: &Answer) {
        for cookie in answer.headers.get_all("set-cookie") {
            let pair = cookie.to_str().unwrap().split_once(';').unwrap().0;
            let (name, value) = pair.split_once('=').unwrap();
            self.0.retain(|(kept, _)| kept != name);
            if !value.is_empty() {
                self.0.push((name.to_owned(), value.to_owned()));
            }
        }
    }

    fn sent(&self) -> String {
        let pairs = self.0.iter().map(|(name, value)| format!("{name}={value}"));
        pairs.collect::<Vec<_>>().join("; ")
    }

    fn session(&self) -> Option<&str> {
        let is_session = |name: &str| name.trim_start_matches("__Host-") == "duskflight";
        let found = self.0.iter().find(|(name, _)| is_session(name));
        found.map(|(_, value)| value.as_str())
    }
}

async fn inside(visitor: axum::Extension<Visitor>) -> String {
    format!("inside: {:?}", visitor.0)
}

impl Door {
    fn new() -> Self {
        Self::with(true)
    }

    fn with(sign_in: bool) -> Self {
        let page = Page {
            listen: Listen {
                place: Place::Address([127, 0, 0, 1].into()),
                port: 8790,
            },
            names: vec!["farm-office.local".to_owned()],
            sign_in,
            certificate: None,
            trusted_proxies: vec![[127, 0, 0, 1].into()],
        };
        let full = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/full");
        let config = Arc::new(Config::read(&full).unwrap());
        let store = Store::in_memory().unwrap();
        let opened = Opened {
            store: store.clone(),
            reader: Reader::of(store.clone()),
            config,
        };
        let (farm, shown) = watch::channel(Some(opened));
        let clock = Arc::new(SetClock::at("2022-06-20T13:00:00Z".parse().unwrap()));
        let keeper = Keeper::new(&page, shown, Arc::clone(&clock) as Arc<dyn Clock>);
        let pages = Router::new()
            .route("/", get(inside).post(inside))
            .fallback(|| async { PageError::NotThere });
        let open = Router::new().route("/page.css", get(|| async { "css" }));
        Self {
            router: guard(pages, open, &Arc::new(keeper.unwrap())),
            clock,
            farm,
            store,
            by_tls: false,
            address: if sign_in {
                "192.168.7.9:50000"
            } else {
                "127.0.0.1:50000"
            },
        }
    }

    async fn ask(&self, request: Builder, body: &str) -> Answer {
        let here: SocketAddr = "127.0.0.1:8790".parse().unwrap();
        let peer = Peer::new(self.address.parse().unwrap(), here, self.by_tls);
        let request = request.extension(peer).body(Body::from(body.to_owned()));
        let service = TowerToHyperService::new(self.router.clone());
        let answer = service.call(request.unwrap()).await.unwrap();
        let (parts, body) = answer.into_parts();
        let body = to_bytes(body, 1 << 20).await.unwrap();
        Answer {
            status: parts.status,
            headers: parts.headers,
            text: String::from_utf8(body.to_vec()).unwrap(),
        }
    }

    async fn get(&self, path: &str, browser: &mut Browser) -> Answer {
        let request = Request::get(path).header("host", HOST);
        let answer = self.ask(request.header("cookie", browser.sent()), "").await;
        browser.take(&answer);
        answer
    }

    fn form(path: &str, browser: &Browser) -> Builder {
        Request::post(path)
            .header("host", HOST)
            .header("origin", format!("http://{HOST}"))
            .header("content-type", "application/x-www-form-urlencoded")
            .header("cookie", browser.sent())
    }

    async fn send(&self, path: &str, browser: &mut Browser, fields: &str) -> Answer {
        let answer = self.ask(Self::form(path, browser), fields).await;
        browser.take(&answer);
        answer
    }

    async fn code(&self, person: &str) -> Code {
        let (code, now) = (Code::random().unwrap(), self.clock.now());
        let (id, hash) = (person.parse().unwrap(), code.hash());
        let set: Result<(), StoreError> = self
            .store
            .write(move |t| doors::set_code(t, &id, &hash, now))
            .await;
        set.unwrap();
        code
    }

    async fn set_password(&self, person: &str, code: &Code, password: &str) -> (Answer, Browser) {
        let mut browser = Browser::default();
        let proof = self.get("/first-password", &mut browser).await.proof();
        let fields = format!(
            "proof={proof}&person={person}&code={code}&password={0}&again={0}",
            password.replace(' ', "+")
        );
        let answer = self.send("/first-password", &mut browser, &fields).await;
        (answer, browser)
    }

    async fn sign_in(
        &self,
        browser: &mut Browser,
        person: &str,
        password: &str,
        to: &str,
    ) -> Answer {
        let proof = self.get("/sign-in", browser).await.proof();
        let password = password.replace(' ', "+");
        let fields = format!("proof={proof}&person={person}&password={password}&to={to}");
        self.send("/sign-in", browser, &fields).await
    }

    /// A browser in which somebody has signed in.
    async fn browser_of(&self, person: &str) -> Browser {
        let code = self.code(person).await;
        let (answer, browser) = self.set_password(person, &code, PASSWORD).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text);
        browser
    }
}

#[tokio::test]
async fn whoever_has_not_signed_in_is_sent_to_the_sign_in_and_back() {
    let (door, mut browser) = (Door::new(), Browser::default());
    let answer = door.get("/?of=gil&as-of=2022-06-01", &mut browser).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    let to = "/sign-in?to=/?of=gil%26as-of=2022-06-01";
    assert_eq!(answer.header("location"), to);
    let form = door.get(to, &mut browser).await;
    let back = "name=\"to\" value=\"/?of=gil&#38;as-of=2022-06-01\"";
    assert!(form.text.contains(back), "{}", form.text);
    for path in ["/nowhere", "/account"] {
        assert_eq!(
            door.get(path, &mut browser).await.status,
            StatusCode::SEE_OTHER
        );
    }
    for path in ["/sign-in", "/first-password", "/page.css"] {
        assert_eq!(door.get(path, &mut browser).await.status, StatusCode::OK);
    }
}

#[tokio::test]
async fn every_answer_says_what_it_may_load_and_who_may_frame_it() {
    let (door, mut browser) = (Door::new(), Browser::default());
    let rebound = door
        .ask(Request::get("/").header("host", "evil.example"), "")
        .await;
    let mut answers = vec![rebound];
    for path in ["/", "/sign-in", "/page.css", "/nowhere"] {
        answers.push(door.get(path, &mut browser).await);
    }
    answers.push(door.send("/sign-in", &mut browser, "").await);
    let mut ada = door.browser_of("ada").await;
    answers.push(door.get("/nowhere", &mut ada).await);
    for answer in &answers {
        let csp = "default-src 'self'; frame-ancestors 'none'; form-action 'self'; base-uri 'none'";
        assert_eq!(answer.header("content-security-policy"), csp);
        assert_eq!(answer.header("x-content-type-options"), "nosniff");
        assert_eq!(answer.header("referrer-policy"), "same-origin");
        assert_eq!(answer.header("cache-control"), "no-store");
    }
    let of = |at: usize| answers[at].status.as_u16();
    assert_eq!([of(0), of(4), of(5), of(6)], [421, 303, 403, 404]);
}

#[tokio::test]
async fn asked_by_a_name_that_is_not_ours_it_says_nothing_of_the_farm_also_to_who_signed_in() {
    let door = Door::new();
    let browser = door.browser_of("ada").await;
    for host in ["evil.example", "127.0.0.2:8790", "localhost.evil.example"] {
        for request in [
            Request::get("/"),
            Request::post("/"),
            Request::get("/page.css"),
        ] {
            let request = request
                .header("host", host)
                .header("cookie", browser.sent());
            let answer = door.ask(request, "").await;
            assert_eq!(answer.status, StatusCode::MISDIRECTED_REQUEST, "{host}");
            assert!(answer.text.starts_with("Not known by this name."));
        }
    }
}

#[tokio::test]
async fn a_form_needs_its_proof_and_a_page_of_ours_with_a_sign_in_and_without() {
    for sign_in in [true, false] {
        let door = Door::with(sign_in);
        let (mut browser, proof) = match sign_in {
            true => {
                let mut browser = door.browser_of("ada").await;
                let proof = door.get("/account", &mut browser).await.proof();
                (browser, proof)
            }
            false => {
                let mut browser = Browser::default();
                let proof = door.get("/sign-in", &mut browser).await.proof();
                (browser, proof)
            }
        };
        let fields = format!("proof={proof}");
        let answer = door.send("/", &mut browser, &fields).await;
        assert_eq!(answer.status, StatusCode::OK, "{}", answer.text);
        assert!(answer.text.starts_with("inside"), "{}", answer.text);
        let form = || Door::form("/", &browser);
        let with = |name: &str, value: &str| {
            let mut form = form();
            form.headers_mut().unwrap().insert(
                axum::http::HeaderName::from_bytes(name.as_bytes()).unwrap(),
                value.parse().unwrap(),
            );
            form
        };
        let refused = [
            (form(), ""),
            (form(), "proof="),
            (form(), "proof=AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"),
            (with("origin", "http://evil.example"), &*fields),
            (with("origin", "null"), &fields),
            (with("sec-fetch-site", "cross-site"), &fields),
            (with("sec-fetch-site", "same-site"), &fields),
            (with("content-type", "text/plain"), &fields),
            (with("cookie", ""), &fields),
        ];
        for (request, body) in refused {
            let shown = format!("{sign_in} {:?} {body}", request.headers_ref());
            let answer = door.ask(request, body).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{shown}");
        }
        let mut silent = form();
        silent.headers_mut().unwrap().remove("origin");
        assert_eq!(
            door.ask(silent, &fields).await.status,
            StatusCode::FORBIDDEN
        );
        let other = Request::delete("/").header("host", HOST);
        let answer = door.ask(other.header("cookie", browser.sent()), "").await;
        assert_eq!(answer.status, StatusCode::METHOD_NOT_ALLOWED);
    }
}

#[tokio::test]
async fn the_proof_of_one_session_is_none_of_another() {
    let door = Door::new();
    let (mut ada, mut gil) = (door.browser_of("ada").await, door.browser_of("gil").await);
    let proof = door.get("/account", &mut gil).await.proof();
    let answer = door
        .send("/end-sessions", &mut ada, &format!("proof={proof}"))
        .await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    assert_eq!(door.get("/", &mut ada).await.status, StatusCode::OK);
}

#[tokio::test]
async fn where_nobody_signs_in_the_machine_itself_alone_is_shown_everything() {
    let mut door = Door::with(false);
    let mut browser = Browser::default();
    let answer = door.get("/", &mut browser).await;
    assert_eq!(answer.text, "inside: AtTheMachine");
    let proxied = Request::get("/")
        .header("host", HOST)
        .header("x-forwarded-for", "127.0.0.1");
    assert_eq!(door.ask(proxied, "").await.status, StatusCode::FORBIDDEN);
    door.address = "192.168.7.9:50000";
    assert_eq!(
        door.get("/", &mut browser).await.status,
        StatusCode::FORBIDDEN
    );
}

#[tokio::test]
async fn cookies_are_of_the_way_they_came_and_scripts_do_not_see_them() {
    let mut door = Door::new();
    for by_tls in [false, true] {
        door.by_tls = by_tls;
        let code = door.code("ada").await;
        let (answer, mut browser) = door.set_password("ada", &code, PASSWORD).await;
        let cookie = answer.header("set-cookie");
        let name = if by_tls {
            "__Host-duskflight="
        } else {
            "duskflight="
        };
        assert!(cookie.starts_with(name), "{cookie}");
        let flags = "; Path=/; HttpOnly; SameSite=Lax; Max-Age=15552000";
        assert!(
            cookie.contains(flags) && !cookie.contains("Domain"),
            "{cookie}"
        );
        assert_eq!(cookie.ends_with("; Secure"), by_tls, "{cookie}");
        assert_eq!(door.get("/", &mut browser).await.status, StatusCode::OK);
        door.by_tls = !by_tls;
        assert_eq!(
            door.get("/", &mut browser).await.status,
            StatusCode::SEE_OTHER,
            "the other way"
        );
    }
}

#[tokio::test]
async fn while_the_records_cannot_be_used_it_says_so_and_keeps_its_sheet() {
    let door = Door::new();
    let mut browser = door.browser_of("ada").await;
    door.farm.send_replace(None);
    assert_eq!(
        door.get("/", &mut browser).await.status,
        StatusCode::SERVICE_UNAVAILABLE
    );
    assert_eq!(
        door.get("/page.css", &mut browser).await.status,
        StatusCode::OK
    );
    let answer = door.sign_in(&mut browser, "ada", PASSWORD, "/").await;
    assert_eq!(answer.status, StatusCode::SERVICE_UNAVAILABLE);
}

#[tokio::test]
async fn guesses_are_slowed_down_whoever_they_say_they_are_and_who_has_a_session_is_not() {
    let door = Door::new();
    let mut ada = door.browser_of("ada").await;
    let mut browser = Browser::default();
    let proof = door.get("/sign-in", &mut browser).await.proof();
    let (mut looked_at, mut held) = (0, 0);
    for number in 0..200 {
        let form = Door::form("/sign-in", &browser);
        let form = form.header("x-forwarded-for", format!("10.0.0.{number}"));
        let fields = format!("proof={proof}&person=ada&password=guess+{number}");
        let answer = door.ask(form, &fields).await;
        match answer.status {
            StatusCode::FORBIDDEN => looked_at += 1,
            StatusCode::TOO_MANY_REQUESTS => {
                assert_ne!(answer.header("retry-after"), "");
                held += 1;
            }
            other => panic!("{other}"),
        }
    }
    assert!(looked_at <= 6 && held >= 194, "{looked_at} {held}");
    assert_eq!(door.get("/", &mut ada).await.status, StatusCode::OK);
}
