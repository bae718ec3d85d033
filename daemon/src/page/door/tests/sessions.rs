//! Who signs in, with what, and for how long.

use super::*;

#[tokio::test]
async fn somebody_signs_in_with_their_password_and_goes_where_they_were() {
    let door = Door::new();
    door.browser_of("gil").await;
    let mut browser = Browser::default();
    let answer = door
        .sign_in(
            &mut browser,
            "GIL@orchards.example",
            PASSWORD,
            "/block/home",
        )
        .await;
    assert_eq!(
        (answer.status.as_u16(), answer.header("location")),
        (303, "/block/home")
    );
    let page = door.get("/", &mut browser).await;
    assert_eq!(page.text, "inside: Person(PersonId(\"gil\"))");
    for elsewhere in [
        "//evil.example",
        "http://evil.example",
        "/%5Cevil.example",
        "%0D%0Aa:b",
    ] {
        let answer = door
            .sign_in(&mut Browser::default(), "gil", PASSWORD, elsewhere)
            .await;
        assert_eq!(answer.header("location"), "/", "{elsewhere}");
    }
}

#[tokio::test]
async fn wrong_people_and_wrong_passwords_say_the_same_and_are_not_signed_in() {
    let door = Door::new();
    door.browser_of("gil").await;
    let mut said = Vec::new();
    for (person, password) in [("gil", "wrong"), ("ada", PASSWORD), ("nobody", PASSWORD)] {
        let mut browser = Browser::default();
        let answer = door.sign_in(&mut browser, person, password, "").await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN);
        assert_eq!(browser.session(), None);
        let (proof, person) = (answer.proof(), format!("value=\"{person}\""));
        said.push(answer.text.replace(&proof, "").replace(&person, ""));
    }
    assert!(said[0].contains("do not go together"), "{}", said[0]);
    assert!(said.iter().all(|text| *text == said[0]));
}

#[tokio::test]
async fn a_session_that_somebody_planted_is_not_the_one_of_who_signs_in() {
    let door = Door::new();
    let planted = door.browser_of("sam").await;
    door.browser_of("gil").await;
    let before = planted.session().unwrap().to_owned();
    let mut browser = planted.clone();
    // With a session there is no form of the sign-in to another's name without its own proof.
    let answer = door.sign_in(&mut browser, "gil", PASSWORD, "/").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert_ne!(browser.session(), Some(&*before));
    let mut planted = planted;
    assert_eq!(
        door.get("/", &mut planted).await.status,
        StatusCode::SEE_OTHER,
        "it has ended"
    );
    // Nor is one that nobody was given.
    let made_up = "QUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUE";
    let mut browser = Browser(vec![("duskflight".to_owned(), made_up.to_owned())]);
    door.sign_in(&mut browser, "gil", PASSWORD, "/").await;
    assert!(browser.session().is_some_and(|token| token != made_up));
}

#[tokio::test]
async fn a_code_is_good_once_for_its_person_and_for_a_day() {
    let door = Door::new();
    let code = door.code("gil").await;
    let refused = async |person: &str, code: &Code, password: &str| {
        let (answer, browser) = door.set_password(person, code, password).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN);
        assert_eq!(browser.session(), None);
        answer.text
    };
    assert!(
        refused("gil", &code, "too short")
            .await
            .contains("10 to 200")
    );
    assert!(
        refused("gil", &code, &"x".repeat(201))
            .await
            .contains("10 to 200")
    );
    assert!(
        refused("ada", &code, PASSWORD)
            .await
            .contains("do not go together")
    );
    let (answer, mut browser) = door.set_password("gil", &code, PASSWORD).await;
    assert_eq!(answer.header("location"), "/");
    assert_eq!(door.get("/", &mut browser).await.status, StatusCode::OK);
    assert!(refused("gil", &code, PASSWORD).await.contains("was used"));
    let late = door.code("gil").await;
    door.clock.set(door.clock.now() + TimeDelta::days(1));
    assert!(
        refused("gil", &late, PASSWORD)
            .await
            .contains("older than a day")
    );
}

#[tokio::test]
async fn sessions_are_left_one_by_one_or_all_at_once() {
    let door = Door::new();
    let mut first = door.browser_of("ada").await;
    let (mut second, mut third) = (Browser::default(), Browser::default());
    door.sign_in(&mut second, "ada", PASSWORD, "/").await;
    door.sign_in(&mut third, "ada", PASSWORD, "/").await;
    let page = door.get("/account", &mut first).await;
    assert!(page.text.contains("on 3 browsers"), "{}", page.text);
    let proof = page.proof();
    let copy = first.clone();
    let gone = door
        .send("/sign-out", &mut first, &format!("proof={proof}"))
        .await;
    assert_eq!(gone.header("location"), "/sign-in");
    assert_eq!(first.session(), None);
    let status = async |browser: &mut Browser| door.get("/", browser).await.status.as_u16();
    assert_eq!(
        status(&mut copy.clone()).await,
        303,
        "the token itself has ended"
    );
    assert_eq!(status(&mut second).await, 200);
    let proof = door.get("/account", &mut second).await.proof();
    door.send("/end-sessions", &mut second, &format!("proof={proof}"))
        .await;
    assert_eq!(status(&mut second).await, 303);
    assert_eq!(status(&mut third).await, 303);
}

#[tokio::test]
async fn a_session_ends_unused_after_thirty_days() {
    let door = Door::new();
    let mut browser = door.browser_of("ada").await;
    let pass = |days| door.clock.set(door.clock.now() + TimeDelta::days(days));
    for _ in 0..6 {
        pass(29);
        assert_eq!(door.get("/", &mut browser).await.status, StatusCode::OK);
    }
    pass(29);
    assert_eq!(
        door.get("/", &mut browser).await.status,
        StatusCode::SEE_OTHER,
        "after half a year"
    );
    let mut browser = door.browser_of("ada").await;
    pass(30);
    assert_eq!(
        door.get("/", &mut browser).await.status,
        StatusCode::SEE_OTHER
    );
}

#[tokio::test]
async fn who_is_declared_no_more_is_out() {
    let door = Door::new();
    let (mut gil, mut ada) = (door.browser_of("gil").await, door.browser_of("ada").await);
    let declared = door.farm.borrow().clone().unwrap();
    let without = |id: &str| {
        let mut config = Config::clone(&declared.config);
        config.people.retain(|person| person.id.as_str() != id);
        Some(Opened {
            config: Arc::new(config),
            ..declared.clone()
        })
    };
    door.farm.send_replace(without("gil"));
    assert_eq!(door.get("/", &mut gil).await.status, StatusCode::SEE_OTHER);
    assert_eq!(door.get("/", &mut ada).await.status, StatusCode::OK);
    let answer = door
        .sign_in(&mut Browser::default(), "gil", PASSWORD, "/")
        .await;
    assert_eq!(answer.status, StatusCode::FORBIDDEN);
    door.farm.send_replace(Some(declared));
    assert_eq!(
        door.get("/", &mut gil).await.status,
        StatusCode::SEE_OTHER,
        "it stays ended"
    );
}
