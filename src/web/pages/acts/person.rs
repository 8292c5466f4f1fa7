//! Forms of people: add a person, set roles, switch an account off or on.

use serde_json::{Map, Value};

use super::{Sheet, as_truth, wrong};
use crate::app::Reader;
use crate::custody::state::Person;
use crate::ids::PersonId;
use crate::people::password::{self, PasswordError};
use crate::people::{Action, Role};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;
use crate::web::session::roles_words;

/// The name of the field for a first password.
pub(in crate::web::pages) const FIRST_PASSWORD: &str = "first_password";

fn roles() -> Input {
    let choices = Role::ALL
        .iter()
        .map(|r| Choice::new(r.word(), format!("{}: {}", r.title(), does(*r))))
        .collect();
    Input::new("roles", "Roles", Kind::Many(choices))
        .hint("At least one. An administrator has no access to evidence and so no other role.")
}

fn does(role: Role) -> &'static str {
    match role {
        Role::Technician => "works scenes, recovers, packs, seals, releases",
        Role::Custodian => "runs the storeroom",
        Role::Examiner => "examines at the laboratory, takes out on loan",
        Role::CourtLiaison => "prepares cases for court, prints reports",
        Role::Supervisor => "assigns and restricts cases, answers for overrides",
        Role::Auditor => "reads, changes nothing",
        Role::Administrator => "keeps the accounts of people",
    }
}

/// The field for a first password.
pub(in crate::web::pages) fn password_field() -> Input {
    Input::new(FIRST_PASSWORD, "First password", Kind::Password).hint(
        "At least 12 characters, such as a few words in a row. Give it to them in person; they change it on their own page.",
    )
}

/// What is wrong with a new password.
pub(in crate::web::pages) fn refused(e: PasswordError, field: &str) -> crate::custody::Refusal {
    wrong(
        "password-refused",
        format!("The password is refused: {e}."),
        "Choose another one.",
        field,
    )
}

/// Add a person, with a first password.
pub(super) fn add(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::ManagePeople)?;
    Ok(Sheet {
        title: "Add a person".into(),
        thing: "a new person".into(),
        intro: "Name, number and roles go on the record and stand on labels and reports; the password does not.".into(),
        inputs: vec![
            Input::line("name", "Full name"),
            Input::line("number", "Staff or badge number"),
            Input::line("user_name", "User name")
                .hint("2 to 32 characters: a to z, 0 to 9, dot, hyphen. It does not change later."),
            roles(),
            password_field(),
        ],
        submit: "Add the person".into(),
        crumbs: vec![Link::new("/people", "People")],
        done: "/people".into(),
        // Asked before anything is recorded, so that nobody is added whose password is then refused.
        wrong: password::check(typed.get(FIRST_PASSWORD), typed.get("user_name").trim())
            .err()
            .map(|e| refused(e, FIRST_PASSWORD)),
        ..Sheet::default()
    })
}

/// Sets the first password of a person who was just added. The same form sent again changes nothing: by then the person
/// may have chosen their own.
pub(super) async fn first_password(app: &App, typed: &Typed, id: PersonId) -> Result<(), Failure> {
    let house = app.house();
    if house.has_password(id).await? {
        return Ok(());
    }
    let Some(person) = house.person(id).await? else {
        return Ok(());
    };
    house
        .set_password(&person, typed.get(FIRST_PASSWORD), app.now())
        .await?;
    Ok(())
}

fn sheet(person: &Person, title: String, submit: &str) -> Sheet {
    Sheet {
        title,
        thing: format!("the account of {}", person.name),
        facts: vec![
            (
                "Person".into(),
                format!("{}, no. {}", person.name, person.number),
            ),
            ("User name".into(), person.user_name.clone()),
            ("Roles now".into(), roles_words(person)),
        ],
        inputs: vec![Input::hidden("person", person.id.to_string())],
        submit: submit.into(),
        crumbs: vec![
            Link::new("/people", "People"),
            Link::new(format!("/people/{}", person.id), person.name.clone()),
        ],
        done: format!("/people/{}", person.id),
        ..Sheet::default()
    }
}

/// Give and take roles.
pub(super) async fn set_roles(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::ManagePeople)?;
    let person = reader.person(typed.read("person")?).await?;
    let mut sheet = sheet(
        &person,
        format!("Roles of {}", person.name),
        "Set the roles",
    );
    sheet.intro = "What is ticked is the whole set. What they did in an earlier role stays on the record as it was.".into();
    let mut field = roles();
    field.values = person.roles.iter().map(|r| r.word().to_owned()).collect();
    sheet.inputs.push(field);
    Ok(sheet)
}

fn active(fields: &mut Map<String, Value>) {
    as_truth(fields, "active");
}

/// Switch an account off or on.
pub(super) async fn set_active(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::ManagePeople)?;
    let person = reader.person(typed.read("person")?).await?;
    // What was asked for stays so when the form is sent again after the account was switched.
    let to = match typed.get("active") {
        "yes" => true,
        "no" => false,
        _ => !person.active,
    };
    let (title, submit) = if to {
        (
            format!("Switch on the account of {}", person.name),
            "Switch on",
        )
    } else {
        (
            format!("Switch off the account of {}", person.name),
            "Switch off",
        )
    };
    let mut sheet = sheet(&person, title, submit);
    sheet.intro = if to {
        "They sign in again with the password they had.".into()
    } else {
        "They are signed out and their access tokens stop. What they hold stays with them on the record until it is handed \
         on."
            .into()
    };
    sheet
        .inputs
        .push(Input::hidden("active", if to { "yes" } else { "no" }));
    sheet.inputs.push(Input::line("reason", "Why"));
    sheet.arrange = Some(active);
    Ok(sheet)
}
