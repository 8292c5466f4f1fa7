//! The papers of a case: the form of each, and all that were printed.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};

use super::acts::choices::{active_people, person_choice};
use super::paper::handed_out;
use super::show::{self, May};
use super::{block, draw, notice};
use crate::app::papers::court::receipt::Receipt;
use crate::app::papers::court::sheet::Sheet;
use crate::app::papers::court::submission::Submission;
use crate::app::papers::court::{Asked, print};
use crate::app::papers::printed::{Prints, of_case};
use crate::app::papers::{By, Layout, PaperError};
use crate::app::{Part, Reader};
use crate::custody::paper::PaperKind;
use crate::custody::state::Case;
use crate::ids::{CaseId, ItemId, Piece};
use crate::people::Action;
use crate::reports::paper::Paper;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed, fill};
use crate::web::frame::{Frame, RefusalBlock};
use crate::web::path::Path;
use crate::web::session::{Posted, Visitor};

/// How many items and packages a form offers to choose from.
const OFFERED: u32 = 200;
/// How many identifiers one form sends.
const MOST_CHOSEN: usize = 1_000;

/// A paper that can be printed.
struct PaperForm {
    word: &'static str,
    title: &'static str,
    about: &'static str,
    inputs: Vec<Input>,
    open: bool,
}

#[derive(Template)]
#[template(path = "paper/case.html")]
struct PapersPage {
    frame: Frame,
    id: CaseId,
    number: String,
    title: String,
    refusal: Option<RefusalBlock>,
    forms: Vec<PaperForm>,
    may: May,
    items: u32,
    prints: Prints,
}

fn paper_size() -> Input {
    let sizes = vec![Choice::new("a4", "A4"), Choice::new("letter", "Letter")];
    Input::new("paper", "Paper", Kind::One(sizes))
        .hint("None takes the agency's.")
        .optional()
}

/// What can be chosen of a case: each thing that is in no package, or each item.
struct Offered {
    pieces: Vec<Choice>,
    items: Vec<Choice>,
    more: bool,
}

async fn offered(reader: &Reader<'_>, case: CaseId) -> Result<Offered, Failure> {
    let first = Part::first(OFFERED);
    let items = reader.items_of(case, &first).await?;
    let packages = reader.packages_of(case, &first).await?;
    let mut pieces: Vec<Choice> = packages
        .rows
        .iter()
        .filter(|p| p.custody.inside.is_none())
        .map(|p| {
            let label = format!("Package P{}, code {}", p.number, p.code.grouped());
            Choice::new(Piece::Package(p.id).to_string(), label)
        })
        .collect();
    let label =
        |i: &crate::custody::state::Item| format!("Item {}, {}", i.number, i.recovered.description);
    let loose = items.rows.iter().filter(|i| i.custody.inside.is_none());
    pieces.extend(loose.map(|i| Choice::new(Piece::Item(i.id).to_string(), label(i))));
    Ok(Offered {
        pieces,
        items: items
            .rows
            .iter()
            .map(|i| Choice::new(i.id.to_string(), label(i)))
            .collect(),
        more: items.next.is_some() || packages.next.is_some(),
    })
}

fn inputs(kind: PaperKind, offered: &Offered, people: &[Choice]) -> Vec<Input> {
    let some = |what: &str| {
        if offered.more {
            format!("Tick none for {what}; only the first {OFFERED} can be ticked here.")
        } else {
            format!("Tick none for {what}.")
        }
    };
    let mut out = match kind {
        PaperKind::OwnerReceipt => vec![
            Input::line("from", "From whom it was taken")
                .hint("Left empty, there is a line to write on.")
                .optional(),
            Input::line("authority", "Under which authority")
                .hint("Consent, a warrant with its number.")
                .optional(),
            Input::line("ask", "Whom to ask, with a telephone number")
                .hint("Left empty, your name stands there.")
                .optional(),
            Input::new("item", "What was taken", Kind::Many(offered.items.clone()))
                .hint(some("every item")),
            Input::new(
                "with_address",
                "The address of the scene stands on it",
                Kind::Yes,
            )
            .hint("Only where whoever gets the receipt may know it."),
        ],
        PaperKind::LaboratorySubmission => vec![
            Input::line("to", "To which laboratory or examiner"),
            Input::lines("examinations", "Which examinations are asked for"),
            Input::line("reference", "Reference").optional(),
            Input::line("due", "By when, and why then").optional(),
            Input::new("piece", "What goes", Kind::Many(offered.pieces.clone()))
                .hint(some("everything that is in no package")),
        ],
        PaperKind::HandOverSheet => vec![
            Input::line("from", "Who releases").optional(),
            Input::line("to", "Who receives").optional(),
            Input::line("reason", "Reason").optional(),
            Input::new(
                "piece",
                "What is handed over",
                Kind::Many(offered.pieces.clone()),
            )
            .hint(some("everything that is in no package")),
            Input::new("empty", "Empty lines for what is not listed", Kind::Whole)
                .value("4")
                .optional(),
        ],
        PaperKind::WitnessSheet => match people {
            [one] => vec![Input::hidden("person", one.value.clone())],
            _ => vec![Input::new("person", "Person", Kind::One(people.to_vec()))],
        },
        _ => Vec::new(),
    };
    out.push(paper_size());
    out
}

fn about(kind: PaperKind) -> &'static str {
    match kind {
        PaperKind::ExhibitList => "The items that have an exhibit number, by number.",
        PaperKind::OwnerReceipt => {
            "What was taken, from whom and where, with lines to sign. Without the scene's address unless you say so."
        }
        PaperKind::LaboratorySubmission => {
            "What goes, what is asked for, what can hurt, and what was done to each mark before."
        }
        PaperKind::HandOverSheet => {
            "For the day without a network: signed in ink, and entered afterwards by release and receipt that name the sheet."
        }
        PaperKind::WitnessSheet => {
            "What one person did in this case, in order, to prepare testimony with."
        }
        PaperKind::Certification => {
            "Blanks for a records custodian. It claims nothing; counsel and local law decide."
        }
        _ => "",
    }
}

/// The papers that have a form of their own here.
const FORMS: [PaperKind; 6] = [
    PaperKind::ExhibitList,
    PaperKind::HandOverSheet,
    PaperKind::OwnerReceipt,
    PaperKind::LaboratorySubmission,
    PaperKind::WitnessSheet,
    PaperKind::Certification,
];

async fn forms(
    reader: &Reader<'_>,
    case: &Case,
    again: Option<(PaperKind, &Typed)>,
) -> Result<Vec<PaperForm>, Failure> {
    let viewer = reader.viewer();
    let (reports, handles) = (
        viewer.may(Action::PrintReport),
        viewer.may(Action::PrintForm),
    );
    if !reports && !handles {
        return Ok(Vec::new());
    }
    let offered = offered(reader, case.id).await?;
    let mut people = active_people(reader).await?;
    people.retain(|p| reports || Some(p.id) == viewer.id());
    let people: Vec<Choice> = people.iter().map(person_choice).collect();
    let may = |kind: PaperKind| {
        reports || (handles && (kind.is_form() || kind == PaperKind::WitnessSheet))
    };
    Ok(FORMS
        .into_iter()
        .filter(|kind| may(*kind))
        .map(|kind| {
            let mut inputs = inputs(kind, &offered, &people);
            let mut open = false;
            if let Some((refused, typed)) = again
                && refused == kind
            {
                fill(&mut inputs, typed);
                open = true;
            }
            // The same names stand in several forms of the page; each field has one of its own for its label.
            for input in &mut inputs {
                input.name = format!("{}-{}", kind.word(), input.name);
            }
            PaperForm {
                word: kind.word(),
                title: kind.title(),
                about: about(kind),
                inputs,
                open,
            }
        })
        .collect())
}

async fn page(
    app: &App,
    visitor: &Visitor,
    case: &Case,
    query: Option<&str>,
    again: Option<(PaperKind, &Typed, Failure)>,
) -> Result<Response, Failure> {
    let reader = visitor.reader(app);
    let frame = visitor.frame(show::crumbs(
        format!("/cases/{}", case.id),
        &case.number,
        "Papers",
    ));
    let status = again
        .as_ref()
        .map_or(StatusCode::OK, |(_, _, failure)| failure.status);
    let forms = forms(&reader, case, again.as_ref().map(|(k, t, _)| (*k, *t))).await?;
    let page = draw(&PapersPage {
        frame: show::framed(frame, notice(&reader, query).await),
        id: case.id,
        number: case.number.clone(),
        title: case.title.clone(),
        refusal: again
            .map(|(kind, _, failure)| block(&failure.refusal, &kind.title().to_lowercase())),
        forms,
        may: May::of(&reader),
        items: case.items,
        prints: of_case(&reader, case).await?,
    })?;
    Ok((status, page).into_response())
}

/// The page.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<CaseId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let case = reader.case(id).await?;
    show::noted(&reader, &case, "papers of the case").await?;
    page(&app, &visitor, &case, query.as_deref(), None).await
}

/// Identifiers that were ticked.
fn ticked<T: std::str::FromStr>(typed: &Typed, name: &str) -> Result<Vec<T>, Failure> {
    let all = typed.all(name);
    if all.len() > MOST_CHOSEN {
        return Err(Failure::unreadable("it names too many things"));
    }
    let read = |text: &&str| {
        text.parse()
            .map_err(|_| Failure::unreadable(&format!("{name} is no identifier")))
    };
    all.iter()
        .filter(|text| !text.is_empty())
        .map(read)
        .collect()
}

fn asked(kind: PaperKind, typed: &Typed) -> Result<Asked, Failure> {
    let text = |name: &str| typed.get(name).to_owned();
    Ok(match kind {
        PaperKind::ExhibitList => Asked::ExhibitList,
        PaperKind::OwnerReceipt => Asked::OwnerReceipt(Receipt {
            items: ticked::<ItemId>(typed, "item")?,
            from: text("from"),
            ask: text("ask"),
            authority: text("authority"),
            with_address: typed.get("with_address") == "yes",
        }),
        PaperKind::LaboratorySubmission => Asked::LaboratorySubmission(Submission {
            pieces: ticked::<Piece>(typed, "piece")?,
            to: text("to"),
            examinations: text("examinations"),
            reference: text("reference"),
            due: text("due"),
        }),
        PaperKind::HandOverSheet => Asked::HandOverSheet(Sheet {
            pieces: ticked::<Piece>(typed, "piece")?,
            from: text("from"),
            to: text("to"),
            reason: text("reason"),
            empty: match typed.get("empty").trim() {
                "" => 0,
                digits => digits
                    .parse()
                    .map_err(|_| Failure::unreadable("the number of empty lines"))?,
            },
        }),
        PaperKind::WitnessSheet => Asked::WitnessSheet(typed.read("person")?),
        PaperKind::Certification => Asked::Certification,
        PaperKind::CustodyReport | PaperKind::DispositionCertificate => {
            return Err(Failure::no_page());
        }
    })
}

/// What was typed, without the paper's word before each name.
fn bare(kind: PaperKind, typed: &Typed) -> Typed {
    let lead = format!("{}-", kind.word());
    let of = |(name, value): &(String, String)| {
        let name = name.strip_prefix(&lead).unwrap_or(name);
        (name.to_owned(), value.clone())
    };
    Typed(typed.0.iter().map(of).collect())
}

fn layout(typed: &Typed) -> Result<Layout, Failure> {
    let paper = match typed.get("paper") {
        "" => None,
        "a4" => Some(Paper::A4),
        "letter" => Some(Paper::Letter),
        _ => return Err(Failure::unreadable("there is no paper of that size")),
    };
    Ok(Layout {
        paper,
        agency: None,
    })
}

async fn printed(
    app: App,
    id: CaseId,
    posted: Posted,
    kind: PaperKind,
) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let reader = visitor.reader(&app);
    let case = reader.case(id).await?;
    show::noted(&reader, &case, kind.title()).await?;
    let typed = bare(kind, &typed);
    let (asked, layout) = (asked(kind, &typed)?, layout(&typed)?);
    match print(&reader, By::session(), id, &asked, &layout).await {
        Ok(paper) => Ok(handed_out(paper)),
        // What was typed stays.
        Err(e @ (PaperError::Count(_) | PaperError::Report(_))) => {
            let mut failure = Failure::from(e);
            failure.refusal.next = "Mend what is filled in, and print it again.".into();
            page(&app, &visitor, &case, None, Some((kind, &typed, failure))).await
        }
        Err(e) => Err(e.into()),
    }
}

macro_rules! papers {
    ($($(#[$doc:meta])* $name:ident = $kind:ident;)*) => {
        $($(#[$doc])*
        pub async fn $name(
            State(app): State<App>,
            Path(id): Path<CaseId>,
            posted: Posted,
        ) -> Result<Response, Failure> {
            printed(app, id, posted, PaperKind::$kind).await
        })*
    };
}

papers! {
    /// The exhibit list.
    exhibit_list = ExhibitList;
    /// A receipt for an owner.
    owner_receipt = OwnerReceipt;
    /// A submission to a laboratory.
    laboratory_submission = LaboratorySubmission;
    /// A hand-over sheet.
    hand_over_sheet = HandOverSheet;
    /// What a person did.
    witness_sheet = WitnessSheet;
    /// The blanks of a certification.
    certification = Certification;
}
