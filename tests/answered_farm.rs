//! A farm of today whose scout answers round mails, for the running daemon, which believes no other day.

use std::fs;

use chrono::{Days, NaiveDate};
use duskflight::clock::{Clock, SystemClock};

use crate::answers::{Sent, answer};
use crate::daemon::in_the_small_hours;
use crate::harness::{Farm, rows, table};
use crate::mailserver::{MailServer, PASSWORD, USER, mail_in};

/// Four egg traps that sam reads, the newest temperatures of yesterday, and its round due today. `inbox`: where
/// answers come in.
pub(crate) fn farm_of_today(server: Option<&MailServer>, inbox: &str) -> (Farm, NaiveDate) {
    let farm = Farm::new("2010-12-31");
    farm.write("password", &format!("{PASSWORD}\n"));
    if let Some(server) = server {
        farm.route(&format!(
            "host = \"localhost\"\nport = {}\nsecurity = \"tls\"\nusername = \"{USER}\"\n\
             password_file = \"password\"\nca_file = \"{}\"\n",
            server.tls_port,
            server.authority("ca")
        ));
    }
    farm.change("[season]", &format!("{inbox}\n[season]"));
    farm.change(
        "[[station]]",
        "[[person]]\nid = \"sam\"\nname = \"Sam Rowe\"\nrole = \"scout\"\nemail = \"sam@test.example\"\n\n[[station]]",
    );
    let today = in_the_small_hours(&farm);
    let before = |days| today - Days::new(days);
    farm.write("yard.csv", &table(&before(1).to_string()));
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,scout,crop,regime,station,varieties\n\
         home,Home block,gil,ada,sam,almond,conventional,yard,Nonpareil\n",
    );
    let hung = before(30);
    let row = |trap| format!("e{trap},home,egg,{hung},north,1,{trap},3,meal\n");
    let traps: String = (1..=4).map(row).collect();
    farm.write(
        "traps.csv",
        &format!("id,block,kind,hung,route,gate,row,tree,bait\n{traps}"),
    );
    (farm, today)
}

/// The mailbox `office`, to which answers go, as the farm is told of it.
pub(crate) fn mailbox(server: &MailServer) -> String {
    format!(
        "[inbox]\naddress = \"office@test.example\"\n\n[inbox.imap]\nhost = \"localhost\"\nport = {}\n\
         security = \"tls\"\nusername = \"office\"\npassword_file = \"password\"\nca_file = \"{}\"\n",
        server.imaps_port,
        server.authority("ca")
    )
}

/// An answer of sam's that is sent now. `id`: what its Message-ID begins with.
pub(crate) fn says(mail: &Sent, id: &str, text: &str) -> String {
    let now = SystemClock.now().to_rfc2822();
    answer(mail, "sam@test.example", &now, id, text)
}

/// What has come to sam by mail, oldest first: round mails and receipts.
pub(crate) fn come_to_sam(server: &MailServer) -> Vec<Vec<u8>> {
    let mut files = server.delivered("sam");
    files.sort_by_key(|file| fs::metadata(file).unwrap().modified().unwrap());
    files.iter().map(|file| mail_in(file)).collect()
}

/// Those of them that are receipts.
pub(crate) fn receipts(mails: &[Vec<u8>]) -> Vec<Sent> {
    let all = mails.iter().map(|mail| Sent::read(mail));
    all.filter(|mail| mail.message_id.starts_with("<q"))
        .collect()
}

/// In one line.
pub(crate) fn words(mail: &Sent) -> String {
    mail.text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Readings as they stand: day, trap, eggs, who entered them and how.
pub(crate) fn readings(farm: &Farm) -> Vec<Vec<String>> {
    let sql = "SELECT day, trap, eggs, entered_by, via FROM visit ORDER BY day, trap";
    rows(&farm.database(), sql)
}

/// Whether every answer that was taken is told and every mail has left, so that nothing is left to do.
pub(crate) fn all_is_told(farm: &Farm, answers: usize) -> bool {
    let sql =
        "SELECT (SELECT count(*) FROM answer), (SELECT count(*) FROM answer WHERE said IS NOT NULL)
                 + (SELECT count(*) FROM outbox WHERE state = 'queued')";
    rows(&farm.database(), sql) == [[answers.to_string(), "0".to_owned()]]
}
