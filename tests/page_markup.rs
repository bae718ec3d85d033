//! Texts and addresses that were made to do harm to whoever looks at the page of the real program.

use crate::daemon::wait_for;
use crate::harness::{Farm, printed, rows, table};
use crate::page_client::Shown;
use crate::page_visitors::{april, assert_silent, year};

/// What somebody might write where a name is asked for.
const MARKUP: [&str; 4] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "' onmouseover='alert(1)",
    "{{7*7}}\u{202e}txt",
];

/// What stands in no page: markup that is not escaped, or worked out.
const LIVE: [&str; 5] = [
    "<script>alert",
    "<img src=x",
    "' onmouseover",
    ">49<",
    "49\u{202e}txt",
];

/// A farm in which every text is one of [`MARKUP`].
fn hostile_farm() -> Farm {
    let year = year();
    let farm = Farm::new("2022-04-30");
    farm.write("yard.csv", &table(&april(30).to_string()));
    let toml = |place: usize| format!("{:?}", MARKUP[place]).replace("\\u{202e}", "\u{202e}");
    let csv = |place: usize| format!("\"{}\"", MARKUP[place].replace('"', "\"\""));
    farm.change(
        "name = \"Test orchards\"",
        &format!("name = {}\nnote = {}", toml(1), toml(0)),
    );
    farm.change(
        "name = \"Ada Vance\"",
        &format!("name = {}\nlicence = {}", toml(0), toml(1)),
    );
    farm.change("name = \"Gil Marrow\"", &format!("name = {}", toml(2)));
    farm.change("name = \"Yard logger\"", &format!("name = {}", toml(3)));
    farm.change(
        "source = \"the maker's sheet\"",
        &format!("source = {}", toml(0)),
    );
    let mut blocks = "id,name,grower,adviser,crop,regime,station,varieties\n".to_owned();
    let mut traps = "id,block,kind,hung,route,gate,row,tree,place,bait,lure\n".to_owned();
    let mut visits = "date,trap,eggs,moths,readable,serviced,note\n".to_owned();
    for place in 0..MARKUP.len() {
        let text = csv(place);
        blocks.push_str(&format!(
            "b{place},{text},gil,ada,almond,conventional,yard,{text}\n"
        ));
        for trap in 1..=4 {
            traps.push_str(&format!(
                "b{place}-e{trap},b{place},egg,{year}-03-15,{text},{text},{text},{text},{text},meal,\n"
            ));
            for (day, eggs) in [("03-18", 0), ("04-08", 0), ("04-12", 3), ("04-15", 9)] {
                visits.push_str(&format!("{year}-{day},b{place}-e{trap},{eggs},,,,{text}\n"));
            }
        }
    }
    farm.write("blocks.csv", &blocks);
    farm.write("traps.csv", &traps);
    farm.import("round.csv", &visits);
    farm.nightly(&april(16).to_string());
    for line in MARKUP {
        printed(&["alerts", "note", "gil", line, "--config", farm.config()]);
    }
    printed(&["alerts", "hold", "gil", "--config", farm.config()]);
    farm
}

fn encoded(text: &str) -> String {
    let bytes = text.bytes();
    bytes.map(|byte| format!("%{byte:02X}")).collect()
}

#[test]
fn markup_in_any_text_stays_text_on_every_page() {
    let shown = Shown::of(hostile_farm(), "sign_in = false");
    let mut browser = shown.browser();
    wait_for("the farm is shown", || browser.get("/").status == 200);
    let ids = "SELECT trim(message_id, '<>') FROM outbox";
    let mails = rows(&shown.farm.database(), ids);
    let mut paths: Vec<String> = [
        "/",
        "/stations",
        "/mails",
        "/mails/tomorrow",
        "/reports",
        "/health",
        "/round",
        "/station/yard",
    ]
    .map(str::to_owned)
    .into();
    for place in 0..MARKUP.len() {
        paths.push(format!("/block/b{place}"));
        paths.push(format!("/block/b{place}?as-of={}", april(16)));
        paths.push(format!("/block/b{place}/days?as-of={}", april(16)));
    }
    for text in MARKUP.map(encoded) {
        paths.push(format!("/round?route={text}"));
        paths.push(format!("/round?route={text}&stored={text}"));
        paths.push(format!(
            "/?find={text}&route={text}&sort={text}&grower={text}"
        ));
        paths.push(format!("/block/b0?as-of={text}"));
        paths.push(format!("/station/yard?beside={text}"));
        paths.push(format!("/block/{text}"));
    }
    paths.push(format!("/report/gil/{}", year()));
    for mail in &mails {
        paths.push(format!("/mail/{}", mail[0]));
        paths.push(format!("/mail/{}/body", mail[0]));
    }
    let mut seen = 0;
    for path in paths {
        let answer = browser.get(&path);
        assert!(
            matches!(answer.status, 200 | 400 | 404),
            "{path}: {}",
            answer.status
        );
        assert_silent(&answer, &LIVE, &path);
        seen += usize::from(answer.text.contains("&#60;script&#62;alert"));
    }
    assert!(seen >= 10, "it stands on {seen} pages, escaped");

    // What is typed comes back where something is wrong with it.
    let proof = browser.get("/sign-in").proof();
    for text in MARKUP {
        let text = encoded(text);
        for (path, fields) in [
            (
                format!("/round?route={text}"),
                format!(
                    "by=ada&day={}&count:b0-e1:eggs={text}&note:b0-e1={text}",
                    april(20)
                ),
            ),
            (
                format!("/round?route={text}"),
                format!("by={text}&count:b0-e1:eggs=1"),
            ),
            (format!("/round?route={text}"), format!("day={text}")),
            (
                "/mails".to_owned(),
                format!("mail={text}&act={text}&line={text}"),
            ),
            ("/mails".to_owned(), format!("mail={text}&act=hold")),
            (
                "/station/yard".to_owned(),
                format!(
                    "date={}&element=min&act=correct&value={text}&why={text}&by={text}",
                    april(20)
                ),
            ),
            (
                "/station/yard".to_owned(),
                format!(
                    "date={}&element=min&act=correct&value=1e999&why=x&by={text}",
                    april(20)
                ),
            ),
            (
                "/station/yard".to_owned(),
                format!(
                    "date={}&element=min&act=correct&value=NaN&why=x&by={text}",
                    april(20)
                ),
            ),
        ] {
            let answer = browser.send(&path, &proof, &fields);
            assert!(
                matches!(answer.status, 303 | 400 | 404 | 422),
                "{path} {fields}: {}",
                answer.text
            );
            assert_silent(&answer, &LIVE, &format!("{path} {fields}"));
        }
    }
    shown.daemon.stop("-TERM");
}

#[test]
fn an_address_that_leads_nowhere_is_not_there_and_breaks_nothing() {
    let shown = Shown::of(Farm::new("2022-04-30"), "sign_in = false");
    let mut browser = shown.browser();
    wait_for("the farm is shown", || browser.get("/").status == 200);
    let long = "a".repeat(60_000);
    for path in [
        "/..%2f..%2fetc/passwd",
        "/../../etc/passwd",
        "//etc/passwd",
        "/block/..%2f",
        "/block/../duskflight.toml",
        "/block/home%00",
        "/block/%FF%FE",
        "/block/",
        "/block/home/days/x",
        "/report/../x/2022",
        "/report/gil/20220",
        "/report/gil/-262144",
        "/report/gil/99999999999",
        "/report/gil/x",
        "/mail/..%2f..%2fduskflight.sqlite",
        "/mail/%00/body",
        "/station/..%2fyard",
        "/round?route=..%2f",
        "/page.css/../../duskflight.toml",
        "/block/home?as-of=-262143-01-01",
        "/block/home?as-of=%2B262142-12-31",
        "/block/home?as-of=0000-00-00",
        "/block/home/days?as-of=9999-12-31",
        "/block/home/days?insect=none",
        "/?part=-1",
        &format!("/block/{}", &long[..4000]),
        &format!("/?find={long}"),
    ] {
        let answer = browser.get(path);
        let status = answer.status;
        let is_find = path.starts_with("/?find");
        assert!(
            matches!(status, 400 | 404 | 414 | 431) || (is_find && status == 200),
            "{}: {status}",
            &path[..path.len().min(60)]
        );
        assert_silent(&answer, &["root:", "[farm]", "SQLite format"], path);
    }
    for path in [
        "/?part=99999999999",
        "/block/home?as-of=1900-01-01",
        "/block/home?as-of=2012-02-29",
    ] {
        let status = browser.get(path).status;
        assert!(matches!(status, 200 | 400), "{path}: {status}");
    }
    shown.daemon.stop("-TERM");
}
