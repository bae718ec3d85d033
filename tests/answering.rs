//! A web service on this machine that answers each request by a function of its address.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};

use reqwest::Url;

/// It serves one request a connection until it is dropped.
pub(crate) struct Answering {
    address: SocketAddr,
    asked: Arc<Mutex<Vec<Url>>>,
    stopping: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Answering {
    /// `answer`: the body for an address, or none there.
    pub(crate) fn start(answer: impl Fn(&Url) -> Option<String> + Send + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let (asked, stopping) = (Arc::<Mutex<Vec<Url>>>::default(), Arc::default());
        let (for_asked, for_stopping) = (Arc::clone(&asked), Arc::clone(&stopping));
        let thread = thread::spawn(move || {
            for stream in listener.incoming() {
                let stopping: &AtomicBool = &for_stopping;
                if stopping.load(Ordering::SeqCst) {
                    return;
                }
                let mut stream = stream.unwrap();
                let url = requested(&mut stream);
                let response = response(answer(&url));
                for_asked.lock().unwrap().push(url);
                // A client may have gone away.
                let _ = stream.write_all(response.as_bytes());
            }
        });
        Self {
            address,
            asked,
            stopping,
            thread: Some(thread),
        }
    }

    pub(crate) fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    /// The addresses that were asked for so far.
    pub(crate) fn asked(&self) -> Vec<Url> {
        self.asked.lock().unwrap().clone()
    }
}

impl Drop for Answering {
    fn drop(&mut self) {
        self.stopping.store(true, Ordering::SeqCst);
        let _ = TcpStream::connect(self.address);
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(ended.is_ok() || thread::panicking(), "the service panicked");
        }
    }
}

/// The address in the first line of a request.
fn requested(stream: &mut TcpStream) -> Url {
    let (mut head, mut byte) = (Vec::new(), [0]);
    while !head.ends_with(b"\r\n\r\n") && matches!(stream.read(&mut byte), Ok(1)) {
        head.push(byte[0]);
    }
    let head = String::from_utf8(head).unwrap();
    let target = head.split(' ').nth(1).unwrap_or("/");
    Url::parse(&format!("http://service{target}")).unwrap()
}

fn response(body: Option<String>) -> String {
    let status = match body {
        Some(_) => "200 OK",
        None => "404 Not Found",
    };
    let body = body.unwrap_or_default();
    let length = body.len();
    format!("HTTP/1.1 {status}\r\nconnection: close\r\ncontent-length: {length}\r\n\r\n{body}")
}
