//! A browser of few words for the page: requests written by hand, so that they can be wrong on purpose.

use std::io::{self, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};

use crate::daemon::{Running, start, wait_for};
use crate::harness::{Farm, printed};

pub(crate) const PASSWORD: &str = "pale moths at dusk";

/// A farm whose page is open on this machine.
pub(crate) struct Shown {
    pub(crate) farm: Farm,
    pub(crate) daemon: Running,
    pub(crate) at: SocketAddr,
}

/// What came back.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    head: String,
    pub(crate) text: String,
}

/// What a browser keeps, and how it asks.
#[derive(Clone)]
pub(crate) struct Browser {
    at: SocketAddr,
    host: String,
    tls: Option<Arc<ClientConfig>>,
    cookies: Vec<(String, String)>,
}

/// A port that was free just now.
pub(crate) fn free_port() -> u16 {
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    taken.local_addr().unwrap().port()
}

impl Shown {
    /// Shows a farm's page with these further lines of its part of the configuration.
    pub(crate) fn of(farm: Farm, lines: &str) -> Self {
        let at = SocketAddr::from(([127, 0, 0, 1], free_port()));
        let page = format!("[page]\nlisten = \"{at}\"\n{lines}\n\n[mail]");
        farm.change("[mail]", &page);
        let daemon = start(&farm);
        wait_for("the page is open", || TcpStream::connect(at).is_ok());
        let shown = Self { farm, daemon, at };
        // The records are opened meanwhile.
        let scheme = lines.contains("certificate");
        let ready = || scheme || shown.browser().get("/sign-in").status == 200;
        wait_for("the page is shown", ready);
        shown
    }

    pub(crate) fn browser(&self) -> Browser {
        Browser {
            at: self.at,
            host: self.at.to_string(),
            tls: None,
            cookies: Vec::new(),
        }
    }

    /// One that trusts an authority and asks by https, by the name `localhost`.
    pub(crate) fn browser_by_tls(&self, authority: &Path) -> Browser {
        let mut roots = RootCertStore::empty();
        roots
            .add(CertificateDer::from_pem_file(authority).unwrap())
            .unwrap();
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ClientConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_root_certificates(roots)
            .with_no_client_auth();
        Browser {
            host: format!("localhost:{}", self.at.port()),
            tls: Some(Arc::new(config)),
            ..self.browser()
        }
    }

    /// The code that somebody sets a password with.
    pub(crate) fn code(&self, person: &str) -> String {
        let said = printed(&["page", "code", person, "--config", self.farm.config()]);
        said.lines().next().unwrap().to_owned()
    }
}

/// A look that is not answered in so many tries is held up.
const MOST_TRIES: usize = 20;

impl Browser {
    pub(crate) fn get(&mut self, path: &str) -> Answer {
        self.ask(&self.request("GET", path, &[], ""))
    }

    /// Asks again where its connection had to give way, as browsers do; gives how often it asked in all, too.
    pub(crate) fn get_at_last(&mut self, path: &str) -> (Answer, usize) {
        let request = self.request("GET", path, &[], "");
        for tries in 1..=MOST_TRIES {
            let mut stream = self.connect();
            let written = stream.write_all(request.as_bytes());
            if let Ok(answer) = written.and_then(|()| try_answer(&mut stream)) {
                self.keep(&answer);
                return (answer, tries);
            }
        }
        panic!("{path} was not answered in {MOST_TRIES} tries");
    }

    /// Sends a form with the proof of another page.
    pub(crate) fn send(&mut self, path: &str, proof: &str, fields: &str) -> Answer {
        let body = format!("proof={proof}&{fields}");
        self.ask(&self.request("POST", path, &[], &body))
    }

    /// A request as this browser writes it; headers given replace its own.
    pub(crate) fn request(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> String {
        let scheme = if self.tls.is_some() { "https" } else { "http" };
        let origin = format!("{scheme}://{}", self.host);
        let (length, cookies) = (body.len().to_string(), self.cookies());
        let mut all = vec![("Host", &*self.host), ("Cookie", &cookies)];
        if method == "POST" {
            all.extend([
                ("Origin", &*origin),
                ("Content-Type", "application/x-www-form-urlencoded"),
                ("Content-Length", &length),
            ]);
        }
        all.retain(|(name, _)| !headers.iter().any(|(other, _)| other == name));
        all.extend(headers.iter().filter(|(_, value)| !value.is_empty()));
        let all = all
            .iter()
            .map(|(name, value)| format!("{name}: {value}\r\n"));
        format!(
            "{method} {path} HTTP/1.1\r\n{}\r\n{body}",
            all.collect::<String>()
        )
    }

    fn cookies(&self) -> String {
        let pairs = self
            .cookies
            .iter()
            .map(|(name, value)| format!("{name}={value}"));
        pairs.collect::<Vec<_>>().join("; ")
    }

    /// Asks over a connection of its own.
    pub(crate) fn ask(&mut self, request: &str) -> Answer {
        let stream = self.connect();
        let answer = match self.tls.clone() {
            None => asked(stream, request),
            Some(config) => {
                let name = "localhost".try_into().unwrap();
                let talk = ClientConnection::new(config, name).unwrap();
                asked(StreamOwned::new(talk, stream), request)
            }
        };
        self.keep(&answer);
        answer
    }

    pub(crate) fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(self.at).unwrap();
        stream
            .set_read_timeout(Some(Duration::from_secs(120)))
            .unwrap();
        stream
    }

    fn keep(&mut self, answer: &Answer) {
        for cookie in answer.all("set-cookie") {
            let pair = cookie.split(';').next().unwrap();
            let (name, value) = pair.split_once('=').unwrap();
            self.cookies.retain(|(kept, _)| kept != name);
            if !value.is_empty() {
                self.cookies.push((name.to_owned(), value.to_owned()));
            }
        }
    }

    /// The token of its session.
    pub(crate) fn session(&self) -> Option<&str> {
        let is_session = |name: &str| name.trim_start_matches("__Host-") == "duskflight";
        let found = self.cookies.iter().find(|(name, _)| is_session(name));
        found.map(|(_, token)| token.as_str())
    }

    /// Sets a password with a code.
    pub(crate) fn set_password(&mut self, person: &str, code: &str) -> Answer {
        let proof = self.get("/first-password").proof();
        let password = PASSWORD.replace(' ', "+");
        let fields = format!("person={person}&code={code}&password={password}&again={password}");
        self.send("/first-password", &proof, &fields)
    }

    pub(crate) fn sign_in(&mut self, person: &str, password: &str) -> Answer {
        let proof = self.get("/sign-in").proof();
        let password = password.replace(' ', "+");
        self.send(
            "/sign-in",
            &proof,
            &format!("person={person}&password={password}&to=/"),
        )
    }
}

/// Writes a request and reads its answer.
pub(crate) fn asked(mut stream: impl Read + Write, request: &str) -> Answer {
    stream.write_all(request.as_bytes()).unwrap();
    read_answer(&mut stream)
}

/// Reads one answer, of which the length is given.
pub(crate) fn read_answer(stream: &mut impl Read) -> Answer {
    try_answer(stream).expect("an answer")
}

/// The same, where the connection may end before.
fn try_answer(stream: &mut impl Read) -> io::Result<Answer> {
    let mut bytes = Vec::new();
    let mut piece = [0; 4096];
    loop {
        let end = bytes.windows(4).position(|four| four == b"\r\n\r\n");
        if let Some(end) = end {
            let head = String::from_utf8(bytes[..end].to_vec()).unwrap();
            let answer = Answer {
                status: head.split(' ').nth(1).unwrap().parse().unwrap(),
                head,
                text: String::from_utf8_lossy(&bytes[end + 4..]).into_owned(),
            };
            let length = answer.header("content-length").parse().unwrap_or(0);
            if bytes.len() >= end + 4 + length {
                return Ok(answer);
            }
        }
        let read = stream.read(&mut piece)?;
        if read == 0 {
            let so_far = String::from_utf8_lossy(&bytes).into_owned();
            return Err(io::Error::new(io::ErrorKind::UnexpectedEof, so_far));
        }
        bytes.extend(&piece[..read]);
    }
}

impl Answer {
    fn all(&self, name: &str) -> Vec<&str> {
        let lines = self.head.lines().filter_map(|line| line.split_once(": "));
        let found = lines.filter(|(found, _)| found.eq_ignore_ascii_case(name));
        found.map(|(_, value)| value).collect()
    }

    pub(crate) fn header(&self, name: &str) -> &str {
        self.all(name).first().copied().unwrap_or_default()
    }

    pub(crate) fn proof(&self) -> String {
        let found = self.text.split_once("name=\"proof\" value=\"");
        let (_, after) = found.unwrap_or_else(|| panic!("no form: {}", self.text));
        after.split_once('"').unwrap().0.to_owned()
    }
}
