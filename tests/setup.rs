//! Setting up a farm: from `init` to the first digest, and every way to get it wrong.

use std::path::Path;

use crate::harness::{Farm, duskflight, printed, refused, table, told_farm};

#[test]
fn a_farm_that_reads_celsius_gets_its_degree_days_in_celsius() {
    let farm = told_farm();
    farm.change("[farm]", "[farm]\nunit = \"c\"\ndate_order = \"day-month\"");
    let text = printed(&["season", "--config", farm.config(), "--as-of", "2022-04-25"]);
    // 80 °F-days are 44.4 °C-days, 1056 are 586.7.
    assert!(text.contains("44 °C-days"), "{text}");
    assert!(
        text.contains("587 °C-days after the egg-laying start"),
        "{text}"
    );
    assert!(text.contains("confirmed 12 Apr"), "{text}");
}

#[test]
fn a_configuration_that_is_wrong_is_explained_whole_with_exit_code_78() {
    let farm = Farm::new("2022-04-30");
    farm.change(
        "timezone = \"America/Los_Angeles\"",
        "timezone = \"California\"",
    );
    farm.change("email = \"gil@test.example\"", "email = \"gil at home\"");
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,crop,regime,station,varieties,from,acres\n\
        home,Home block,gill,ada,almond,conventional,yard,Nonpareil,,\n\
        back,Back block,gil,ada,walnut,conventional,yards,Chandler,,\n",
    );
    let said = refused(78, &["season", "--config", farm.config()]);
    for fault in [
        "duskflight.toml:6: farm.timezone = \"California\"",
        "person gil: email = \"gil at home\"",
        "blocks.csv:2: block home: grower gill: no such person",
        "blocks.csv:3: block back: station yards: no such station",
        "blocks.csv:3: block back: crop walnut: no insect model is valid for it",
    ] {
        assert!(said.contains(fault), "{fault:?} is missing in\n{said}");
    }
}

#[test]
fn nonsense_that_would_harm_later_is_refused_at_the_door() {
    let farm = Farm::new("2022-04-30");
    farm.change(
        "name = \"Test orchards\"",
        "name = \"Test orchards\"\nregion = \"Californa\"\nauthority = \"\"\ndistrict = \"North\"",
    );
    farm.change("name = \"Test orchards\"", "name = \" \"");
    farm.change("phone = \"559-555-0101\"", "phone = \"\"\nlicence = \" \"");
    farm.change(
        "email = \"gil@test.example\"",
        "email = \"gil@test.example\"\nlicence = \"QAL 000000\"",
    );
    farm.change("history_years = 12", "history_years = 0");
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,crop,regime,station,varieties,from,acres,start_group\n\
         home,Home block,gil,ada,almond,conventional,yard,Nonpareil; Nonpareil,,,\n\
         back,,gil,ada,almond,conventional,yard,Nonpareil,,,\n\
         side,Side block,gil,ada,almond,conventional,yard,Nonpareil,,-5,\n\
         far,Far block,gil,ada,almond,conventional,yard,Nonpareil,,,pheromones\n\
         bad,Bad block,gil ,ad a,almonds,organic,yard,Nonpareil,soon,,\n",
    );
    farm.write(
        "traps.csv",
        "id,block,kind,hung,group\n\
         e1,far,egg,2022-03-15,hmoe\n\
         p1,far,pheromone,2022-03-15,pheromones\n\
         p1,far,pheromone,2022-03-15,\n\
         x1,farr,egg,2022-03-15,far\n",
    );
    let said = refused(78, &["status", "--config", farm.config()]);
    for fault in [
        "duskflight.toml:5: farm.name: it is empty",
        "duskflight.toml:6: farm.region = \"Californa\": write california, or leave it out and name whom to ask in \
         authority; did you mean \"california\"?",
        "duskflight.toml:7: farm.authority: it is empty",
        "duskflight.toml:8: farm.district = \"North\": write south or north; did you mean \"north\"?",
        "person ada: licence: it is empty",
        "person gil: licence: only an adviser's is printed",
        "person ada: give an adviser's phone",
        "station yard: history_years = 0: write 1 to 100",
        "blocks.csv:2: column varieties, \"Nonpareil; Nonpareil\": \"Nonpareil\" stands twice",
        "blocks.csv:3: column name, \"\": it is empty; mails use it",
        "blocks.csv:4: column acres, \"-5\": write a number above zero",
        "blocks.csv:5: block far: start_group pheromones: no egg trap belongs to it",
        "blocks.csv:6: column crop, \"almonds\"",
        "blocks.csv:6: column crop, \"almonds\": unknown variant `almonds`",
        "did you mean \"almond\"?",
        "blocks.csv:6: column regime, \"organic\"",
        "blocks.csv:6: column from, \"soon\": write a day as YYYY-MM-DD",
        "traps.csv:2: trap e1: group hmoe: no block uses it",
        "traps.csv:4: trap p1: the id stands twice",
        "traps.csv:5: trap x1: block farr: no such block",
    ] {
        assert!(said.contains(fault), "{fault:?} is missing in\n{said}");
    }
}

#[test]
fn a_name_that_would_burst_every_mail_is_refused() {
    let farm = Farm::new("2022-04-30");
    let (long, fits) = ("x".repeat(101), "ñ".repeat(100));
    farm.change("name = \"Ada", &format!("name = \"{long}"));
    farm.change("Test orchards", &fits);
    let blocks = std::fs::read_to_string(farm.path("blocks.csv")).unwrap();
    farm.write("blocks.csv", &blocks.replace("Home block", &long));
    let said = refused(78, &["status", "--config", farm.config()]);
    assert!(said.contains("person ada: name: it has"), "{said}");
    let of_block = "column name, \"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx…\": it has 101 characters; mails have room for 100";
    assert!(said.contains(of_block), "{said}");
    assert!(!said.contains("farm.name"), "{said}");
}

#[test]
fn an_unknown_key_is_refused_with_its_line() {
    let farm = Farm::new("2022-04-30");
    farm.change("history_years = 12", "history_yeers = 12");
    let said = refused(78, &["status", "--config", farm.config()]);
    assert!(said.contains("history_yeers"), "{said}");
    assert!(said.contains("duskflight.toml:"), "{said}");
}

#[test]
fn init_proposes_a_forecast_that_is_there_once_its_marks_are_taken_out() {
    let dir = tempfile::tempdir().unwrap();
    let farm = dir.path().join("farm");
    let farm = farm.to_str().unwrap();
    let said = printed(&["init", farm]);
    assert!(
        said.contains("before operator and [station.forecast.nws]"),
        "{said}"
    );
    let main = dir.path().join("farm/duskflight.toml");
    let text = std::fs::read_to_string(&main).unwrap();
    let marked = ["[station.forecast.nws]", "latitude = ", "longitude = "];
    let (before, forecast) = text.split_at(text.find("# [station.forecast.nws]").unwrap());
    let forecast = marked.iter().fold(forecast.to_owned(), |text, line| {
        let mark = format!("# {line}");
        assert_eq!(text.matches(&mark).count(), 1, "{line}");
        text.replace(&mark, line)
    });
    let uncommented = format!("{before}{forecast}");
    std::fs::write(&main, &uncommented).unwrap();
    std::fs::write(dir.path().join("farm/station.csv"), table("2022-06-19")).unwrap();
    let contact = "refuses callers that name no contact";
    let said = printed(&["check", "--config", farm]);
    assert!(said.contains(contact), "{said}");
    std::fs::write(&main, uncommented.replace("\n# operator", "\noperator")).unwrap();
    let said = printed(&["check", "--config", farm]);
    assert!(!said.contains(contact), "{said}");
}

#[test]
fn init_two_lines_changed_check_and_a_night_give_the_first_digest() {
    let dir = tempfile::tempdir().unwrap();
    let farm = dir.path().join("farm");
    let farm = farm.to_str().unwrap();
    printed(&["init", farm]);
    let said = refused(2, &["init", farm]);
    assert!(
        said.contains("is there already; nothing was written"),
        "{said}"
    );
    let main = dir.path().join("farm/duskflight.toml");
    let text = std::fs::read_to_string(&main).unwrap();
    assert_eq!(
        text.matches("<--").count(),
        3,
        "two lines, and the sentence that speaks of them"
    );
    let said = refused(78, &["check", "--config", farm]);
    let missing = format!("station yard: the table {farm}/station.csv is not there");
    assert!(said.contains(&missing), "{said}");
    let text = text
        .replace("adviser@farm.example", "ada@orchards.test")
        .replace("source = \"station.csv\"", "source = \"yard.csv\"");
    std::fs::write(&main, text).unwrap();
    let days = table("2022-06-19").replace("date,low,high", "date,tmin,tmax");
    std::fs::write(dir.path().join("farm/yard.csv"), days).unwrap();
    let said = printed(&[
        "check",
        "--config",
        farm,
        "--as-of",
        "2022-06-20",
        "--online",
    ]);
    assert!(said.contains("My orchards: no errors"), "{said}");
    assert!(
        said.contains("Home block (home)") && said.contains("estimate"),
        "{said}"
    );
    assert!(
        said.contains("station yard: newest day 2022-06-19"),
        "{said}"
    );
    assert!(said.contains("look at: person grower"), "{said}");
    assert!(said.contains("mail: the folder"), "{said}");
    printed(&["nightly", "--config", farm, "--as-of", "2022-06-20"]);
    let digest = dir.path().join("farm/mail/2022-06-20-digest-adviser.eml");
    let digest = std::fs::read_to_string(digest).unwrap();
    assert!(digest.contains("<ada@orchards.test>"), "{digest}");
}

#[test]
fn the_environment_names_the_folder_where_no_option_does() {
    let farm = Farm::new("2022-04-30");
    let checked = |option: &[&str], named: &str| {
        let mut command = duskflight();
        let command = command.arg("check").args(option);
        command.env("DUSKFLIGHT_CONFIG", named).output().unwrap()
    };
    assert!(checked(&[], farm.config()).status.success());
    let by_option = checked(&["--config", farm.config()], "/nowhere");
    assert!(by_option.status.success());
    let said = String::from_utf8(checked(&[], "/nowhere").stderr).unwrap();
    assert!(said.contains("/nowhere/duskflight.toml"), "{said}");
}

#[test]
fn the_manual_and_the_completions_know_every_command() {
    let dir = tempfile::tempdir().unwrap();
    let to = dir.path().to_str().unwrap();
    printed(&["manual", to]);
    let text = |file: &str| std::fs::read_to_string(dir.path().join(file)).unwrap();
    let completions = ["duskflight.bash", "_duskflight", "duskflight.fish"]
        .map(|file| text(&format!("completions/{file}")));
    for command in ["check", "run", "nightly", "status", "alerts"] {
        assert!(
            completions
                .iter()
                .all(|of_shell| of_shell.contains(command))
        );
        let page = text(&format!("man/duskflight-{command}.1"));
        assert!(page.contains("DUSKFLIGHT_CONFIG"), "{page}");
    }
    assert!(text("man/duskflight.1").contains("duskflight\\-check(1)"));
}

#[test]
fn faults_of_every_kind_and_file_are_refused_together() {
    let farm = Farm::new("2022-04-30");
    let model = std::fs::read_to_string(farm.path("navel-orangeworm.toml")).unwrap();
    let crossed = model
        .replace("id = \"navel-orangeworm\"", "id = \"crossed\"")
        .replace("crops = [\"almond\"]", "crops = [\"pistachio\"]")
        .replace("lower = 55", "lower = 95");
    farm.write("crossed.toml", &crossed);
    farm.change(
        "insects = [\"navel-orangeworm.toml\"]",
        "insects = [\"navel-orangeworm.toml\", \"crossed.toml\"]",
    );
    farm.change("America/Los_Angeles", "America/Los_Angelos");
    farm.change("[mail]", "[mail]\nform_name = \"Box\"");
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,crop,regime,station,varieties\n\
         home,Home block,gil,ada,almond,conventional,yard,Nonpareil\n\
         home,Home again,gil,ada,almond,conventional,yard,Nonpareil\n\
         lone,Lone block,nobody,ada,walnut,conventional,yard,Chandler\n",
    );
    farm.write("traps.csv", "id,block,kind,hung\ne1,hone,egg,2022-03-15\n");
    let said = refused(78, &["check", "--config", farm.config()]);
    for fault in [
        "farm.timezone = \"America/Los_Angelos\": write a name such as America/Los_Angeles; did you mean \"America/Los_Angeles\"?",
        "unknown key \"form_name\"; did you mean \"from_name\"?",
        "crossed.toml: heat: the lower threshold (95 °F) must be below the upper one (94 °F)",
        "blocks.csv:3: block home: stands twice from the same day",
        "blocks.csv:4: block lone: grower nobody: no such person",
        "blocks.csv:4: block lone: crop walnut: no insect model is valid for it; those named in duskflight.toml are for almond, pistachio",
        "traps.csv:2: trap e1: block hone: no such block in blocks.csv; did you mean \"home\"?",
    ] {
        assert!(said.contains(fault), "{fault:?} is missing in\n{said}");
    }
}

/// A farm with the shipped models of these names, and blocks as given.
fn farm_with(models: &[&str], blocks: &str) -> Farm {
    let farm = Farm::new("2022-04-30");
    for model in models {
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/insects");
        let text = std::fs::read_to_string(shipped.join(model)).unwrap();
        farm.write(model, &text);
    }
    let named: Vec<String> = models.iter().map(|model| format!("{model:?}")).collect();
    farm.change(
        "insects = [\"navel-orangeworm.toml\"]",
        &format!("insects = [{}]", named.join(", ")),
    );
    let header = "id,name,grower,adviser,crop,regime,station,varieties,start_group,start_rule\n";
    farm.write("blocks.csv", &format!("{header}{blocks}"));
    farm.write("traps.csv", "id,block,kind,hung\ne1,home,egg,2022-03-15\n");
    farm
}

const ALMOND: &str = "navel-orangeworm.toml";
const PISTACHIO: &str = "navel-orangeworm-pistachio.toml";
const WALNUT: &str = "navel-orangeworm-walnut.toml";
const HOME: &str = "home,Home block,gil,ada,almond,conventional,yard,Nonpareil,,\n";
const FLAT: &str = "flat,Flat block,gil,ada,pistachio,conventional,yard,Kerman,,\n";
const SHADE: &str = "shade,Shade block,gil,ada,walnut,conventional,yard,Chandler,,\n";

#[test]
fn a_block_is_paired_with_the_model_of_its_crop_and_with_no_other() {
    let all = [HOME, FLAT, SHADE].concat();
    let farm = farm_with(&[ALMOND, PISTACHIO, WALNUT], &all);
    let said = printed(&["check", "--config", farm.config()]);
    assert!(said.contains("no errors"), "{said}");
    let rules = said.matches("no start").count();
    assert_eq!(rules, 2, "pistachio and walnut ask for no start: {said}");

    let farm = farm_with(&[PISTACHIO], &all);
    let said = refused(78, &["check", "--config", farm.config()]);
    for crop in ["almond", "walnut"] {
        let fault = format!(
            "crop {crop}: no insect model is valid for it; those named in duskflight.toml are for pistachio"
        );
        assert!(said.contains(&fault), "{said}");
    }
    assert!(!said.contains("crop pistachio"), "{said}");
}

#[test]
fn a_model_without_a_crop_and_two_models_for_one_crop_are_refused() {
    let farm = farm_with(&[ALMOND, PISTACHIO, WALNUT], HOME);
    let spoilt = |model: &str, from: &str, to: &str| {
        let text = std::fs::read_to_string(farm.path(model)).unwrap();
        assert!(text.contains(from), "{text}");
        farm.write(model, &text.replace(from, to));
    };
    spoilt(PISTACHIO, "crops = [\"pistachio\"]", "crops = []");
    spoilt(WALNUT, "crops = [\"walnut\"]", "crops = [\"almond\"]");
    let said = refused(78, &["check", "--config", farm.config()]);
    for fault in [
        "navel-orangeworm-pistachio.toml: crops: name at least one crop the model is valid for",
        "navel-orangeworm-walnut.toml: crops: another model is valid for almond already",
    ] {
        assert!(said.contains(fault), "{fault:?} is missing in\n{said}");
    }
    spoilt(WALNUT, "crops = [\"almond\"]", "crops = [\"hazel\"]");
    let said = refused(78, &["check", "--config", farm.config()]);
    assert!(said.contains("hazel") && said.contains("walnut"), "{said}");
}

#[test]
fn a_faulty_model_is_told_once_and_not_again_by_each_block_of_its_crop() {
    let farm = farm_with(&[ALMOND, PISTACHIO], &[HOME, FLAT].concat());
    let text = std::fs::read_to_string(farm.path(PISTACHIO)).unwrap();
    farm.write(
        PISTACHIO,
        &text.replace("\"1-january\"", "\"1-january-or-so\""),
    );
    let said = refused(78, &["check", "--config", farm.config()]);
    assert!(
        said.contains("mark summer-peak-1: it counts from \"1-january-or-so\""),
        "{said}"
    );
    assert!(!said.contains("block flat"), "{said}");
}

#[test]
fn a_start_is_not_borrowed_where_nothing_counts_from_it() {
    let borrowing = FLAT.replace("Kerman,,", "Kerman,home,");
    let farm = farm_with(&[ALMOND, PISTACHIO], &[HOME, &borrowing].concat());
    let said = refused(78, &["check", "--config", farm.config()]);
    let fault = "block flat: start_group, start_rule: no date in pistachio counts from an egg-laying start; leave both out";
    assert!(said.contains(fault), "{said}");
}
