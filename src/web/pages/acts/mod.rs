//! The form of every act, one noun each. A sheet says what the act is about, which fields it has, and where one comes
//! back to; [`super::act`] does the rest.

mod advice;
mod amendment;
mod brought;
mod case;
mod case_admin;
pub mod choices;
mod climate_log;
mod consumed;
mod count;
mod disposition;
mod drying;
mod exhibit;
mod expungement;
mod finding;
pub mod hand_over;
mod hold;
mod item;
mod kit;
mod mark;
mod outside;
mod package;
pub(super) mod person;
pub mod picture;
mod place;
mod repack;
mod seal_stock;
mod stock;
mod value;

use serde_json::{Map, Value};

use crate::app::Recorded;
use crate::custody::Refusal;
use crate::custody::state::Case;
use crate::ids::Subject;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Typed};
use crate::web::frame::Link;
use crate::web::session::Visitor;

/// The form of an act.
#[derive(Clone, Debug, Default)]
pub struct Sheet {
    /// Heading: `Receive package P2`.
    pub title: String,
    /// What it is about, for a refusal: `package P2 of case HC-26-0117`.
    pub thing: String,
    /// A sentence above the form, or empty.
    pub intro: String,
    /// Cautions that stand where the step is taken.
    pub cautions: Vec<String>,
    /// The case whose words the form shows: whoever draws the form puts the reading of a restricted one on the record.
    pub about: Option<Case>,
    /// What is known already, as facts; shown again at the signing step.
    pub facts: Vec<(String, String)>,
    /// Other ways to begin the form, with what they are called above them; empty for none.
    pub ways: (String, Vec<Link>),
    /// Advice on the choice that the form asks for.
    pub advice: Option<Box<advice::AdviceBlock>>,
    /// The fields.
    pub inputs: Vec<Input>,
    /// The verb on the button: `Receive`.
    pub submit: String,
    /// The words on a second button that shows the form again with what follows from the choices so far, recording nothing;
    /// empty for none.
    pub look: String,
    /// The field that names who else is there, where the act may need a second person; they sign beside the visitor.
    pub beside: Vec<Input>,
    /// What is put on the record when the act is signed: `I received package P2 as described.`
    pub sentence: String,
    /// Hand-over sheets from which it may be entered, newest first.
    pub paper_sheets: Vec<Choice>,
    /// Where one is, outermost first, without this form.
    pub crumbs: Vec<Link>,
    /// Where one comes back to when it is done or left; what the act creates goes before it.
    pub done: String,
    /// Whether it is filled in at a scene, with gloves.
    pub field: bool,
    /// Puts the fields into the shape of the command, where names alone do not.
    pub arrange: Option<fn(&mut Map<String, Value>)>,
    /// What is found out from other fields, by the command's names; goes before what is in the fields.
    pub known: Vec<(String, Value)>,
    /// What is wrong with what was typed already, before any rule of custody is asked.
    pub wrong: Option<Refusal>,
}

/// The form of an act, for this visitor and what the address or the form says.
///
/// # Errors
/// [`Failure`]: no such act, no such thing, not to be seen.
pub async fn sheet(
    app: &App,
    visitor: &Visitor,
    word: &str,
    typed: &Typed,
) -> Result<Sheet, Failure> {
    let reader = visitor.reader(app);
    match word {
        "open-case" => case::open(&reader),
        "open-scene" => case::open_scene(&reader, typed).await,
        "note-mark" => mark::note(&reader, typed).await,
        "develop-mark" => mark::develop(&reader, typed).await,
        "set-view" => picture::set_view(&reader, typed).await,
        "set-scale" => picture::set_scale(&reader, typed).await,
        "assess-value" => value::assess(&reader, typed).await,
        "bring-in" => brought::bring_in(&reader, typed).await,
        "recover" => item::recover(&reader, typed).await,
        "order-expungement" => expungement::order(&reader, typed).await,
        "withdraw-expungement" => expungement::withdraw(&reader, typed).await,
        "carry-out-expungement" => expungement::carry_out(&reader, typed).await,
        "note-dry" => drying::note(&reader, typed).await,
        "stock-set" => stock::set(&reader, typed).await,
        "stock-take" => stock::take(&reader, typed).await,
        "seals-deliver" => seal_stock::deliver(&reader, typed).await,
        "seals-issue" => seal_stock::issue(&reader, typed).await,
        "seals-spoil" => seal_stock::spoil(&reader, typed).await,
        "log-climate" => climate_log::log(&reader, typed).await,
        "kit-add" => kit::add(&reader).await,
        "kit-remove" => kit::remove(&reader, typed).await,
        "release" => hand_over::release(&reader, typed).await,
        "withdraw" => hand_over::withdraw(&reader, typed).await,
        "receive" => hand_over::receive(&reader, typed).await,
        "refuse" => hand_over::refuse(&reader, typed).await,
        "pack" => package::pack(&reader, typed).await,
        "put-in" => package::put_in(&reader, typed).await,
        "take-out" => package::take_out(&reader, typed).await,
        "seal" => package::seal(&reader, typed).await,
        "open" => package::open(&reader, typed).await,
        "repack" => repack::repack(&reader, typed).await,
        "consume" => consumed::consume(&reader, typed).await,
        "hand-out" => outside::hand_out(&reader, typed).await,
        "take-back" => outside::take_back(&reader, typed).await,
        "take-charge" => outside::take_charge(&reader, typed).await,
        "add-place" => place::add(&reader, typed).await,
        "set-capacity" => place::set_capacity(&reader, typed).await,
        "mark-two-person" => place::mark_two_person(&reader, typed).await,
        "store" => place::store(&reader, typed).await,
        "store-many" => place::store_many(&reader, typed).await,
        "fetch" => place::fetch(&reader, typed).await,
        "begin-count" => count::begin(&reader, typed).await,
        "scan-codes" => count::scan(&reader, typed).await,
        "end-count" => count::end(&reader, typed).await,
        "resolve-difference" => count::resolve(&reader, typed).await,
        "place-hold" => hold::place(&reader, typed).await,
        "lift-hold" => hold::lift(&reader, typed).await,
        "set-exhibit" => exhibit::set(&reader, typed).await,
        "set-retention" => hold::retention(&reader, typed).await,
        "authorise-disposition" => disposition::authorise(&reader, typed).await,
        "revoke-disposition" => disposition::revoke(&reader, typed).await,
        "dispose" => disposition::dispose(&reader, typed).await,
        "witness-disposition" => disposition::witness(&reader, typed).await,
        "decline-disposition" => disposition::decline(&reader, typed).await,
        "amend" => amendment::amend(&reader, typed).await,
        "answer-finding" => finding::answer(&reader, typed).await,
        "assign" => case_admin::assign(&reader, typed).await,
        "restrict" => case_admin::restrict(&reader, typed).await,
        "add-person" => person::add(&reader, typed),
        "set-roles" => person::set_roles(&reader, typed).await,
        "set-active" => person::set_active(&reader, typed).await,
        _ => Err(Failure::no_page()),
    }
}

/// What is still to do in the house when an act is on the record.
///
/// # Errors
/// [`Failure`].
pub async fn afterwards(
    app: &App,
    _visitor: &Visitor,
    word: &str,
    typed: &Typed,
    recorded: &Recorded,
) -> Result<(), Failure> {
    match (word, recorded.created) {
        ("add-person", Some(Subject::Person(id))) => person::first_password(app, typed, id).await,
        _ => Ok(()),
    }
}

/// A refusal of something typed, before any rule of custody is asked.
fn wrong(code: &str, sentence: impl Into<String>, next: &str, field: &str) -> Refusal {
    Refusal::coded(code, sentence, next).on(field)
}

/// A field that is answered by `yes` or `no` and is carried to the command as a truth.
fn as_truth(fields: &mut Map<String, Value>, name: &str) {
    if let Some(value) = fields.get_mut(name) {
        *value = Value::Bool(value.as_str() == Some("yes"));
    }
}

/// The page of a subject.
#[must_use]
pub fn address(subject: Subject) -> Option<String> {
    Some(match subject {
        Subject::Person(id) => format!("/people/{id}"),
        Subject::Place(id) => format!("/places/{id}"),
        Subject::Case(id) => format!("/cases/{id}"),
        Subject::Mark(id) => format!("/marks/{id}"),
        Subject::Item(id) => format!("/items/{id}"),
        Subject::Package(id) => format!("/packages/{id}"),
        Subject::Count(id) => format!("/counts/{id}"),
    })
}
