//! The files that the program makes and finds: for whom they can be read, and what stands in their places.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::harness::{Farm, duskflight, printed, run, table};

/// Runs the program under a shell's default for new files.
fn run_under(umask: &str, arguments: &[&str]) -> Output {
    let program = duskflight();
    let mut shell = Command::new("sh");
    let script = format!("umask {umask}; exec \"$@\"");
    shell.args(["-c", &script, "sh"]).arg(program.get_program());
    shell.args(arguments).env_remove("DUSKFLIGHT_CONFIG");
    shell.output().unwrap()
}

/// Everything below a folder with its mode, but for what the test wrote itself.
fn modes(folder: &Path, but: &[&str]) -> Vec<(PathBuf, u32)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        if but.iter().any(|name| entry.file_name() == *name) {
            continue;
        }
        let kind = entry.file_type().unwrap();
        found.push((
            entry.path(),
            entry.metadata().unwrap().permissions().mode() & 0o777,
        ));
        if kind.is_dir() {
            found.extend(modes(&entry.path(), &[]));
        }
    }
    found
}

fn expect_kept_from_others(found: &[(PathBuf, u32)], file: u32, folder: u32) {
    for (path, mode) in found {
        let expected = match path {
            path if path.is_dir() => folder,
            // It holds nothing, and whoever may write the records has to be able to take it.
            path if path.ends_with("duskflight.open.lock") => 0o644,
            _ => file,
        };
        assert_eq!(*mode, expected, "{} has mode {mode:o}", path.display());
    }
}

#[test]
fn what_the_program_makes_is_never_readable_by_others_whatever_the_shell_says() {
    let mine = [
        "navel-orangeworm.toml",
        "duskflight.toml",
        "blocks.csv",
        "traps.csv",
        "yard.csv",
    ];
    for (umask, file, folder) in [("000", 0o640, 0o750), ("077", 0o600, 0o700)] {
        let farm = Farm::new("2022-04-14");
        fs::remove_file(farm.path("duskflight.sqlite")).unwrap();
        farm.change(
            "[season]",
            "[telling]\ncalendars = \"calendars\"\n\n[season]",
        );
        let path = |name: &str| farm.path(name).to_str().unwrap().to_owned();
        let preview = path("preview");
        let config = farm.config();
        for arguments in [
            vec!["init", "--records", config],
            vec!["nightly", "--config", config, "--as-of", "2022-04-15"],
            vec!["backup", "--config", config],
            vec!["preview", "digest", "--config", config, "--out", &preview],
        ] {
            let output = run_under(umask, &arguments);
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            assert!(output.status.success(), "{arguments:?}: {said}");
        }
        let found = modes(Path::new(config), &mine);
        for name in [
            "duskflight.sqlite",
            "duskflight.lock",
            "duskflight.sqlite.told.jsonl",
            "backups",
            "mail",
            "calendars",
            "preview",
        ] {
            let there = found.iter().any(|(path, _)| path.ends_with(name));
            assert!(there, "{name} is not among {found:?}");
        }
        expect_kept_from_others(&found, file, folder);
    }
    let dir = tempfile::tempdir().unwrap();
    let begun = dir.path().join("farm");
    let output = run_under("000", &["init", begun.to_str().unwrap()]);
    assert!(output.status.success());
    expect_kept_from_others(&modes(dir.path(), &[]), 0o640, 0o750);
}

#[test]
fn what_somebody_opened_to_others_keeps_its_mode() {
    let farm = Farm::new("2022-04-14");
    let database = farm.path("duskflight.sqlite");
    fs::set_permissions(&database, PermissionsExt::from_mode(0o664)).unwrap();
    printed(&[
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-15",
    ]);
    assert_eq!(
        fs::metadata(&database).unwrap().permissions().mode() & 0o777,
        0o664
    );
}

/// Runs a command that a pipe without a writer would hold for ever, and gives its exit code and what it said.
fn at_once(arguments: &[&str]) -> (Option<i32>, String) {
    let program = duskflight();
    let mut bounded = Command::new("timeout");
    bounded.arg("60").arg(program.get_program()).args(arguments);
    let output = bounded.env_remove("DUSKFLIGHT_CONFIG").output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code(), said)
}

#[test]
fn a_pipe_in_the_place_of_a_file_is_refused_at_once_and_named() {
    for (name, code) in [
        ("duskflight.toml", 78),
        ("blocks.csv", 78),
        ("traps.csv", 78),
        ("navel-orangeworm.toml", 78),
        ("yard.csv", 75),
        ("duskflight.sqlite", 1),
        ("duskflight.sqlite-wal", 1),
        ("duskflight.sqlite-shm", 1),
        // The day is told all the same; that the journal cannot be written stands in the digest.
        ("duskflight.sqlite.told.jsonl", 0),
        ("duskflight.lock", 1),
        ("mail/.2022-04-15-digest-ada.eml.part", 75),
    ] {
        let farm = Farm::new("2022-04-14");
        let place = farm.path(name);
        fs::create_dir_all(place.parent().unwrap()).unwrap();
        if place.exists() {
            fs::remove_file(&place).unwrap();
        }
        make_pipe(&place);
        let (got, said) = at_once(&[
            "nightly",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-15",
        ]);
        assert_ne!(got, Some(124), "{name} held the program up");
        assert_eq!(got, Some(code), "{name}: {said}");
        let file = place.file_name().unwrap().to_str().unwrap();
        let named = said.contains(file) || said.contains("write into the mail folder");
        assert!(named, "{name}: {said}");
        let (got, _) = at_once(&["status", "--config", farm.config()]);
        assert_ne!(got, Some(124), "{name} held status up");
    }
}

fn make_pipe(path: &Path) {
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

#[test]
fn a_pipe_in_the_place_of_a_password_a_copy_or_a_dropped_sheet_holds_nobody_up() {
    let farm = Farm::new("2022-04-14");
    make_pipe(&farm.path("copy.sqlite"));
    let copy = farm.path("copy.sqlite");
    let (code, said) = at_once(&["restore", copy.to_str().unwrap(), "--config", farm.config()]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("copy.sqlite"), "{said}");

    farm.change("[season]", "[records]\ndrop = \"drop\"\n\n[season]");
    fs::create_dir(farm.path("drop")).unwrap();
    make_pipe(&farm.path("drop/round.csv"));
    printed(&[
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-15",
    ]);
    let status = run(&["status", "--config", farm.config()]);
    let shown = String::from_utf8_lossy(&status.stdout).into_owned();
    assert!(shown.contains("round.csv is a pipe"), "{shown}");

    farm.route(
        "host = \"localhost\"\nport = 9\nsecurity = \"none\"\nusername = \"duskflight\"\n\
         password_file = \"password\"\n",
    );
    make_pipe(&farm.path("password"));
    let (code, said) = at_once(&["test-mail", "ada", "--config", farm.config()]);
    assert_ne!(code, Some(124));
    assert!(said.contains("it is a pipe"), "{said}");
}

#[test]
fn a_table_that_never_ends_is_refused() {
    let farm = Farm::new("2022-04-14");
    assert!(table("2022-04-14").len() < 1 << 20);
    let (code, said) = at_once(&["visits", "import", "/dev/zero", "--config", farm.config()]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("larger than 32 MiB"), "{said}");
}

#[test]
fn check_doctor_and_the_log_warn_of_a_readable_password_and_of_a_folder_that_is_carried_about() {
    let farm = Farm::new("2022-04-14");
    farm.route(
        "host = \"mail.test.example\"\nsecurity = \"starttls\"\nusername = \"duskflight\"\n\
         password_file = \"password\"\n",
    );
    farm.write("password", "orchard-at-dusk-81\n");
    let password = farm.path("password");
    let check = || printed(&["check", "--config", farm.config()]);
    let warned = [
        "everybody on this machine can read it",
        "/.stfolder is there",
    ];
    fs::set_permissions(&password, PermissionsExt::from_mode(0o640)).unwrap();
    let told = check();
    assert!(warned.iter().all(|of| !told.contains(of)), "{told}");
    fs::set_permissions(&password, PermissionsExt::from_mode(0o644)).unwrap();
    fs::create_dir(farm.path(".stfolder")).unwrap();
    let doctor = printed(&["doctor", "--config", farm.config()]);
    for told in [check(), doctor] {
        assert!(warned.iter().all(|of| told.contains(of)), "{told}");
    }
    let mode = fs::metadata(&password).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode, 0o644, "it is the user's");
}

#[test]
fn a_remark_without_end_is_refused_with_its_place_and_the_ceiling() {
    let farm = Farm::new("2022-04-14");
    let remark = "x".repeat(2001);
    farm.write(
        "visits.csv",
        &format!("date,trap,eggs,note\n2022-04-12,e1,3,{remark}\n2022-04-12,e2,1000000000,\n"),
    );
    let file = farm.path("visits.csv");
    let file = file.to_str().unwrap();
    let (code, said) = at_once(&[
        "visits",
        "import",
        "--sure",
        file,
        "--config",
        farm.config(),
    ]);
    assert_eq!(code, Some(2), "{said}");
    for fault in [
        "row 2, column note",
        "it has 2001 bytes; a cell has room for 2000",
        "row 3, column eggs, \"1000000000\": more than 100000",
    ] {
        assert!(said.contains(fault), "{fault}: {said}");
    }
    let why = "y".repeat(501);
    let (code, said) = at_once(&[
        "visits",
        "withdraw",
        "--trap",
        "e1",
        "--date",
        "2022-04-12",
        "--why",
        &why,
        "--config",
        farm.config(),
    ]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("there is room for 500"), "{said}");
}
