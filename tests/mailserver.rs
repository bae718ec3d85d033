//! A real mail server in a private folder: Debian's Postfix, with Dovecot to check logins and to serve the mailboxes by
//! IMAP, on free loopback ports, with a certificate authority of its own. The system's own mail is not touched.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use duskflight::config::{ImapServer, Proof, Security};
use duskflight::secret::Secret;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use tempfile::TempDir;

/// The one login that may send. By IMAP each mailbox has its own, with the same password.
pub(crate) const USER: &str = "office";
pub(crate) const PASSWORD: &str = "orchard-at-dusk-81";

/// The server; it stops when it is dropped.
pub(crate) struct MailServer {
    dir: TempDir,
    pub(crate) starttls_port: u16,
    pub(crate) tls_port: u16,
    /// Where mails come in from anywhere, without a login.
    pub(crate) in_port: u16,
    /// The mailboxes by IMAP, with STARTTLS or in clear.
    pub(crate) imap_port: u16,
    /// The same with TLS from the first byte.
    pub(crate) imaps_port: u16,
    children: Vec<Child>,
}

impl MailServer {
    /// Starts the server with a mailbox for each name at `test.example`.
    ///
    /// # Panics
    /// With the server's log when it does not come up.
    pub(crate) fn start(mailboxes: &[&str]) -> Self {
        Self::start_with(mailboxes, "")
    }

    /// The same, with more lines for the configuration of Dovecot's IMAP, such as `imap_capability = IMAP4rev1`.
    pub(crate) fn start_with(mailboxes: &[&str], imap: &str) -> Self {
        let dir = tempfile::tempdir().unwrap();
        // The server's own users must get at their parts of it.
        fs::set_permissions(dir.path(), PermissionsExt::from_mode(0o755)).unwrap();
        let mut server = Self {
            dir,
            starttls_port: free_port(),
            tls_port: free_port(),
            in_port: free_port(),
            imap_port: free_port(),
            imaps_port: free_port(),
            children: Vec::new(),
        };
        server.write_files(mailboxes, imap);
        server.certify("ca", "server");
        server.certify("stranger", "strange");
        server.run_servers();
        server
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    /// The authority that the server's certificate is from, or another one, called `stranger`.
    pub(crate) fn authority(&self, name: &str) -> String {
        self.path(&format!("{name}.pem")).display().to_string()
    }

    /// What has come into a mailbox, without the headers that the server put above, sorted, once
    /// there are as many.
    pub(crate) fn mailbox(&self, name: &str, wanted: usize) -> Vec<Vec<u8>> {
        let count = || self.delivered(name).len();
        self.wait_for(&format!("{wanted} mails for {name}"), || count() >= wanted);
        let mails = self.delivered(name).into_iter();
        let mut mails: Vec<Vec<u8>> = mails.map(|file| mail_in(&file)).collect();
        mails.sort();
        mails
    }

    /// The files that have come into a mailbox.
    pub(crate) fn delivered(&self, name: &str) -> Vec<PathBuf> {
        files_below(&self.path("mail").join(name).join("new"))
    }

    /// Brings a mail from anywhere to a mailbox, as the world does it.
    pub(crate) fn bring(&self, from: &str, to: &str, message: &[u8]) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.in_port)).unwrap();
        let mut replies = BufReader::new(stream.try_clone().unwrap());
        let message: String = String::from_utf8_lossy(message)
            .lines()
            .map(|line| match line.starts_with('.') {
                true => format!(".{line}\r\n"),
                false => format!("{line}\r\n"),
            })
            .collect();
        for (said, wanted) in [
            (String::new(), "220"),
            ("HELO world.example\r\n".to_owned(), "250"),
            (format!("MAIL FROM:<{from}>\r\n"), "250"),
            (format!("RCPT TO:<{to}>\r\n"), "250"),
            ("DATA\r\n".to_owned(), "354"),
            (format!("{message}.\r\n"), "250"),
        ] {
            stream.write_all(said.as_bytes()).unwrap();
            let mut reply = String::new();
            replies.read_line(&mut reply).unwrap();
            assert!(reply.starts_with(wanted), "{reply}{}", self.log());
        }
    }

    /// How a client would be told of a mailbox by IMAP.
    pub(crate) fn mailbox_of(&self, name: &str, security: Security) -> ImapServer {
        ImapServer {
            host: "localhost".to_owned(),
            port: match security {
                Security::Tls => self.imaps_port,
                Security::Starttls | Security::None => self.imap_port,
            },
            security,
            username: name.to_owned(),
            proof: Proof::Password(Ok(Secret::new(PASSWORD.to_owned()))),
            ca: Some(self.certificates("ca")),
            folder: "INBOX".to_owned(),
            done_folder: "Duskflight".to_owned(),
            patience: Duration::from_secs(20),
        }
    }

    /// What an authority is known by, see [`Self::authority`].
    pub(crate) fn certificates(&self, name: &str) -> Vec<CertificateDer<'static>> {
        let read = CertificateDer::pem_file_iter(self.authority(name)).unwrap();
        read.map(Result::unwrap).collect()
    }

    /// Gives the messages in a mailbox's inbox other numbers, as a server does that lost its index.
    pub(crate) fn renumber(&self, name: &str) {
        let mailbox = self.path("mail").join(name);
        let mailbox = mailbox.to_str().unwrap();
        let shell = format!(
            "cd {mailbox} && rm dovecot.index* && sed -i '1s/V[0-9]*/V77/' dovecot-uidlist"
        );
        run("sh", &["-c", &shell]);
    }

    /// Removes all messages of a mailbox, in all its folders.
    #[cfg(feature = "crash-points")]
    pub(crate) fn empty(&self, name: &str) {
        let mailbox = self.path("mail").join(name);
        let shell = format!(
            "find {} -type f -path '*/new/*' -delete -o -type f -path '*/cur/*' -delete",
            mailbox.display()
        );
        run("sh", &["-c", &shell]);
    }

    /// The messages in a folder of a mailbox, read or not, `INBOX` or another one: the files of its maildir.
    pub(crate) fn in_folder(&self, name: &str, folder: &str) -> Vec<PathBuf> {
        let mailbox = self.path("mail").join(name);
        let folder = match folder {
            "INBOX" => mailbox,
            _ => mailbox.join(format!(".{folder}")),
        };
        let mut files = files_below(&folder.join("new"));
        files.extend(files_below(&folder.join("cur")));
        files.sort();
        files
    }

    /// All that was said by IMAP with a mailbox after its login: what Dovecot heard.
    pub(crate) fn heard_by_imap(&self, name: &str) -> String {
        let files = files_below(&self.path("said").join(name)).into_iter();
        let mut files: Vec<PathBuf> = files
            .filter(|file| file.extension().is_some_and(|kind| kind == "in"))
            .collect();
        files.sort();
        let heard = files.iter().map(|file| fs::read_to_string(file).unwrap());
        heard.collect()
    }

    pub(crate) fn log(&self) -> String {
        ["mail.log", "dovecot.log"]
            .map(|name| fs::read_to_string(self.path(name)).unwrap_or_default())
            .concat()
    }

    fn write_files(&self, mailboxes: &[&str], imap: &str) {
        for name in ["etc", "queue", "data", "mail", "dovecot", "said"] {
            fs::create_dir(self.path(name)).unwrap();
        }
        let write = |name: &str, template: &str| {
            let text = template
                .replace("DIR", self.dir.path().to_str().unwrap())
                .replace("STARTTLS_PORT", &self.starttls_port.to_string())
                .replace("TLS_PORT", &self.tls_port.to_string())
                .replace("IN_PORT", &self.in_port.to_string())
                .replace("IMAP_PORT", &self.imap_port.to_string())
                .replace("IMAPS_PORT", &self.imaps_port.to_string())
                .replace("IMAP_LINES", imap);
            fs::write(self.path(name), text).unwrap();
        };
        write("etc/main.cf", MAIN_CF);
        write("etc/master.cf", MASTER_CF);
        write("dovecot/dovecot.conf", DOVECOT_CONF);
        let logins = mailboxes.iter().filter(|name| **name != USER);
        let logins = logins.map(|name| format!("{name}:{PASSWORD}\n"));
        let logins: String = logins.chain([format!("{USER}:{PASSWORD}\n")]).collect();
        write("dovecot/users", &logins);
        write("etc/senders", &format!("duskflight@test.example {USER}\n"));
        let known = mailboxes
            .iter()
            .map(|name| format!("{name}@test.example {name}/\n"));
        write("etc/mailboxes", &known.collect::<String>());
        run("chown", &["postfix", self.path("data").to_str().unwrap()]);
        // Dovecot writes down what is said with those who have a folder for it.
        for name in mailboxes {
            fs::create_dir(self.path("said").join(name)).unwrap();
        }
        for folder in ["mail", "said"] {
            let folder = self.path(folder);
            run("chown", &["-R", "5000:5000", folder.to_str().unwrap()]);
        }
    }

    /// Makes an authority and a certificate from it for `localhost`.
    fn certify(&self, authority: &str, name: &str) {
        let file = |name: String| self.path(&name).display().to_string();
        let [ca, ca_key] = ["pem", "key"].map(|kind| file(format!("{authority}.{kind}")));
        let [cert, key] = ["pem", "key"].map(|kind| file(format!("{name}.{kind}")));
        let new = [
            "req",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:prime256v1",
            "-nodes",
        ];
        let subject = format!("/CN={authority}");
        let root = [
            "-x509", "-days", "2", "-subj", &subject, "-keyout", &ca_key, "-out", &ca,
        ];
        run("openssl", &[&new[..], &root].concat());
        let leaf = [
            "-x509",
            "-days",
            "2",
            "-subj",
            "/CN=localhost",
            "-keyout",
            &key,
            "-out",
            &cert,
            "-CA",
            &ca,
            "-CAkey",
            &ca_key,
            "-addext",
            "subjectAltName=DNS:localhost",
            "-addext",
            "basicConstraints=critical,CA:FALSE",
        ];
        run("openssl", &[&new[..], &leaf].concat());
    }

    fn run_servers(&mut self) {
        let etc = self.path("etc").display().to_string();
        // Makes the folders of the queue.
        run("/usr/sbin/postfix", &["-c", &etc, "check"]);
        let conf = self.path("dovecot/dovecot.conf").display().to_string();
        self.spawn("/usr/sbin/dovecot", &["-F", "-c", &conf]);
        self.spawn("/usr/lib/postfix/sbin/master", &["-c", &etc, "-d"]);
        let socket = self.path("queue/private/auth");
        self.wait_for("the login socket", || socket.exists());
        for port in [
            self.starttls_port,
            self.tls_port,
            self.in_port,
            self.imap_port,
            self.imaps_port,
        ] {
            self.wait_for("the mail server's port", || {
                TcpStream::connect(("127.0.0.1", port)).is_ok()
            });
        }
    }

    /// In a process group of its own, which Postfix ends with itself.
    fn spawn(&mut self, program: &str, arguments: &[&str]) {
        let log = fs::File::create(self.path("start.log")).unwrap();
        let child = as_root(program)
            .args(arguments)
            .stdout(log.try_clone().unwrap())
            .stderr(log)
            .process_group(0)
            .spawn();
        self.children
            .push(child.unwrap_or_else(|error| panic!("{program}: {error}")));
    }

    pub(crate) fn wait_for(&self, what: &str, mut holds: impl FnMut() -> bool) {
        let give_up = Instant::now() + Duration::from_secs(60);
        while !holds() {
            let started = fs::read_to_string(self.path("start.log")).unwrap_or_default();
            let log = self.log();
            assert!(
                Instant::now() < give_up,
                "waited in vain for {what}: {started}{log}"
            );
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for MailServer {
    fn drop(&mut self) {
        for child in &mut self.children {
            let pid = child.id().to_string();
            let kill = format!("kill -TERM {pid}");
            let asked = as_root("sh").args(["-c", &kill]).status();
            if !asked.is_ok_and(|status| status.success()) {
                // Rather a server cut off than a test that never ends.
                let _ = child.kill();
            }
            let _ = child.wait();
        }
    }
}

/// Files in a folder and the folders in it. Some may be gone by the time one looks closer.
pub(crate) fn files_below(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let (folders, files): (Vec<_>, Vec<_>) = entries
        .map(|entry| entry.path())
        .partition(|path| path.is_dir());
    let deeper = folders.iter().flat_map(|folder| files_below(folder));
    files.into_iter().chain(deeper).collect()
}

/// The mail in a delivered file, without the headers that Postfix and its delivery put above.
pub(crate) fn mail_in(file: &Path) -> Vec<u8> {
    let mail = fs::read(file).unwrap();
    let own = [
        "Return-Path:",
        "X-Original-To:",
        "Delivered-To:",
        "Received:",
        "\t",
        " ",
    ];
    let mut rest = mail.as_slice();
    while own.iter().any(|name| rest.starts_with(name.as_bytes())) {
        let end = rest.iter().position(|byte| *byte == b'\n').unwrap();
        rest = &rest[end + 1..];
    }
    rest.to_vec()
}

/// A port below those that the system gives out by itself, so that no other test gets it meanwhile.
fn free_port() -> u16 {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    loop {
        let step = NEXT.fetch_add(1, Ordering::Relaxed);
        let port = 20_000 + (std::process::id() % 10_000 * 7 + step) % 12_000;
        let port = u16::try_from(port).unwrap();
        if TcpListener::bind(("127.0.0.1", port)).is_ok() {
            return port;
        }
    }
}

/// A mail server starts as root and becomes its own users.
fn as_root(program: &str) -> Command {
    let id = Command::new("id").arg("-u").output().unwrap();
    if id.stdout.starts_with(b"0") {
        return Command::new(program);
    }
    let mut command = Command::new("sudo");
    command.args(["--non-interactive", program]);
    command
}

fn run(program: &str, arguments: &[&str]) {
    let output = as_root(program)
        .args(arguments)
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|error| panic!("{program}: {error}; tests/run installs what is missing"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {said}");
}

const MAIN_CF: &str = "\
compatibility_level = 3.6
queue_directory = DIR/queue
data_directory = DIR/data
command_directory = /usr/sbin
daemon_directory = /usr/lib/postfix/sbin
mail_owner = postfix
setgid_group = postdrop
maillog_file = DIR/mail.log
maillog_file_prefixes = DIR
myhostname = mail.test.example
mydestination =
mynetworks = 127.0.0.0/32
inet_interfaces = loopback-only
inet_protocols = ipv4
in_flow_delay = 0
alias_maps =
alias_database =
local_recipient_maps =
virtual_mailbox_domains = test.example
virtual_mailbox_base = DIR/mail
virtual_mailbox_maps = texthash:DIR/etc/mailboxes
virtual_uid_maps = static:5000
virtual_gid_maps = static:5000
virtual_minimum_uid = 100
smtpd_tls_cert_file = DIR/server.pem
smtpd_tls_key_file = DIR/server.key
smtpd_tls_security_level = may
smtpd_tls_auth_only = yes
smtpd_sasl_auth_enable = yes
smtpd_sasl_type = dovecot
smtpd_sasl_path = private/auth
smtpd_sender_login_maps = texthash:DIR/etc/senders
smtpd_sender_restrictions = reject_sender_login_mismatch
smtpd_relay_restrictions = permit_sasl_authenticated, reject
smtpd_recipient_restrictions = permit_sasl_authenticated, reject
recipient_delimiter = +
smtp_tls_security_level = none
";

const MASTER_CF: &str = "\
127.0.0.1:STARTTLS_PORT inet n - n - - smtpd
127.0.0.1:TLS_PORT inet n - n - - smtpd
  -o smtpd_tls_wrappermode=yes
127.0.0.1:IN_PORT inet n - n - - smtpd
  -o smtpd_sender_restrictions=
  -o smtpd_relay_restrictions=reject_unauth_destination
  -o smtpd_recipient_restrictions=reject_unauth_destination
pickup unix n - n 60 1 pickup
cleanup unix n - n - 0 cleanup
qmgr unix n - n 300 1 qmgr
tlsmgr unix - - n 1000? 1 tlsmgr
rewrite unix - - n - - trivial-rewrite
bounce unix - - n - 0 bounce
defer unix - - n - 0 bounce
trace unix - - n - 0 bounce
verify unix - - n - 1 verify
proxymap unix - - n - - proxymap
error unix - - n - - error
retry unix - - n - - error
virtual unix - n n - - virtual
anvil unix - - n - 1 anvil
postlog unix-dgram n - n - 1 postlogd
";

const DOVECOT_CONF: &str = "\
base_dir = DIR/dovecot/run
log_path = DIR/dovecot.log
protocols = imap
ssl = yes
ssl_cert = <DIR/server.pem
ssl_key = <DIR/server.key
mail_location = maildir:DIR/mail/%u
auth_mechanisms = plain login
passdb {
  driver = passwd-file
  args = scheme=plain username_format=%u DIR/dovecot/users
}
userdb {
  driver = static
  args = uid=5000 gid=5000 home=DIR/mail/%u
}
service auth {
  unix_listener DIR/queue/private/auth {
    mode = 0660
    user = postfix
    group = postfix
  }
}
service imap-login {
  inet_listener imap {
    address = 127.0.0.1
    port = IMAP_PORT
  }
  inet_listener imaps {
    address = 127.0.0.1
    port = IMAPS_PORT
    ssl = yes
  }
}
protocol imap {
  rawlog_dir = DIR/said/%u
  IMAP_LINES
}
";
