//! A real HTTP server on this machine that plays a script, misbehaviour included.
//!
//! It writes raw bytes from its own thread, because a well-behaved server library cannot be made
//! to drip, to break off or never to end.

use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use crate::feed::HttpUrl;

/// What the server does with one request.
#[derive(Debug, Clone)]
pub(crate) enum Reply {
    /// Sends these bytes and closes.
    Bytes(Vec<u8>),
    /// Sends these bytes one by one with a pause before each.
    Drip(Vec<u8>, Duration),
    /// Sends these bytes and then `x` until the client goes away.
    Endless(Vec<u8>),
    /// Sends nothing until the client goes away.
    Silence,
}

impl Reply {
    pub(crate) fn ok(body: impl AsRef<[u8]>) -> Self {
        Self::answer("200 OK", &[], body)
    }

    pub(crate) fn answer(status: &str, headers: &[&str], body: impl AsRef<[u8]>) -> Self {
        let body = body.as_ref();
        let mut bytes = head(status, headers, Some(body.len()));
        bytes.extend_from_slice(body);
        Self::Bytes(bytes)
    }

    pub(crate) fn redirect(to: &str) -> Self {
        Self::answer("302 Found", &[&format!("location: {to}")], "")
    }

    fn play(&self, stream: &mut TcpStream) -> std::io::Result<()> {
        match self {
            Self::Bytes(bytes) => stream.write_all(bytes),
            Self::Drip(bytes, pause) => bytes.chunks(1).try_for_each(|byte| {
                thread::sleep(*pause);
                stream.write_all(byte)
            }),
            Self::Endless(bytes) => {
                stream.write_all(bytes)?;
                loop {
                    stream.write_all(&[b'x'; 1024])?;
                }
            }
            Self::Silence => stream.read_to_end(&mut Vec::new()).map(drop),
        }
    }
}

/// Status line and headers; without a length the body ends with the connection.
pub(crate) fn head(status: &str, headers: &[&str], length: Option<usize>) -> Vec<u8> {
    let mut head = format!("HTTP/1.1 {status}\r\nconnection: close\r\n");
    for header in headers {
        head.push_str(header);
        head.push_str("\r\n");
    }
    if let Some(length) = length {
        head.push_str(&format!("content-length: {length}\r\n"));
    }
    head.push_str("\r\n");
    head.into_bytes()
}

/// What the server's thread shares with the test.
#[derive(Debug, Default)]
struct Shared {
    requests: Mutex<Vec<String>>,
    stopping: AtomicBool,
    current: Mutex<Option<TcpStream>>,
}

/// Plays its replies in order, one a connection; the last one repeats.
#[derive(Debug)]
pub(crate) struct TestServer {
    address: SocketAddr,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

impl TestServer {
    pub(crate) fn start(script: Vec<Reply>) -> Self {
        Self::start_with(|_| script)
    }

    /// A script that names the server's own address.
    pub(crate) fn start_with(script: impl FnOnce(SocketAddr) -> Vec<Reply>) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let script = script(address);
        let shared = Arc::new(Shared::default());
        let for_thread = Arc::clone(&shared);
        let thread = thread::spawn(move || serve(&listener, &script, &for_thread));
        Self {
            address,
            shared,
            thread: Some(thread),
        }
    }

    pub(crate) fn url(&self, path: &str) -> HttpUrl {
        HttpUrl::new(&format!("http://{}{path}", self.address)).unwrap()
    }

    pub(crate) fn port(&self) -> u16 {
        self.address.port()
    }

    /// The heads of all requests so far.
    pub(crate) fn requests(&self) -> Vec<String> {
        self.shared.requests.lock().unwrap().clone()
    }
}

impl Drop for TestServer {
    fn drop(&mut self) {
        self.shared.stopping.store(true, Ordering::SeqCst);
        // Wakes the thread from a reply that waits for the client, or from its wait for one.
        if let Some(stream) = self.shared.current.lock().unwrap().take() {
            let _ = stream.shutdown(Shutdown::Both);
        }
        let _ = TcpStream::connect(self.address);
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(ended.is_ok() || thread::panicking(), "the server panicked");
        }
    }
}

fn serve(listener: &TcpListener, script: &[Reply], shared: &Shared) {
    for (number, stream) in listener.incoming().enumerate() {
        let mut stream = stream.unwrap();
        *shared.current.lock().unwrap() = Some(stream.try_clone().unwrap());
        if shared.stopping.load(Ordering::SeqCst) {
            return;
        }
        let request = request_head(&mut stream);
        shared.requests.lock().unwrap().push(request);
        let reply = script.get(number).or(script.last()).unwrap();
        // A client that goes away in the middle is what many tests are about.
        let _ = reply.play(&mut stream);
        let _ = stream.shutdown(Shutdown::Both);
    }
}

fn request_head(stream: &mut TcpStream) -> String {
    let mut head = Vec::new();
    let mut byte = [0];
    while !head.ends_with(b"\r\n\r\n") && matches!(stream.read(&mut byte), Ok(1)) {
        head.push(byte[0]);
    }
    String::from_utf8(head).unwrap()
}
