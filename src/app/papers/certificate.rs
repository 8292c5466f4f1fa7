//! The certificate of a disposition: its three events as a paper, printed and put on the record.

use chrono::Utc;

use super::export::latest;
use super::{
    About, By, Composed, Layout, PaperError, Printed, agency, aside, file_name, put_on_record,
    signing,
};
use crate::app::reader::{Past, Reader};
use crate::app::views::words;
use crate::custody::Fact;
use crate::custody::disposition::{DispositionAuthorised, DispositionExecuted};
use crate::custody::paper::PaperKind;
use crate::ids::{CommandId, Piece, Subject};
use crate::ledger::times;
use crate::people::Action;
use crate::reports::disposition_certificate::{
    DispositionCertificate, Item, Step, disposition_certificate,
};
use crate::zone::Zone;

fn step(what: &str, past: &Past, zone: Zone) -> Step {
    let header = &past.event.header;
    let claimed = times::parse_claimed(&header.claimed_at);
    let recorded = times::parse_recorded(&header.recorded_at);
    Step {
        what: what.to_owned(),
        who: past
            .event
            .field_str("by")
            .map(words::signed_by)
            .unwrap_or_default(),
        claimed: claimed.map_or_else(|_| header.claimed_at.clone(), |t| words::when(&t, zone)),
        recorded: recorded.map_or_else(|_| header.recorded_at.clone(), |t| words::when(&t, zone)),
        attested: words::attested(header.attested).to_owned(),
        seq: header.seq,
    }
}

fn facts(a: &DispositionAuthorised, e: &DispositionExecuted) -> Vec<(String, String)> {
    let party = if e.name.is_empty() {
        String::new()
    } else {
        words::outside(&e.name, &e.organisation)
    };
    let seal = if e.seal.is_empty() {
        "no seal on record".to_owned()
    } else if e.seal_seen.is_empty() {
        format!("{} on record, none read", e.seal)
    } else {
        format!("{} on record, {} seen", e.seal, e.seal_seen)
    };
    let list = [
        ("Authority", a.authority.clone()),
        ("Why", a.reason.clone()),
        ("The schedule", a.kept.clone()),
        ("Why earlier", a.early_reason.clone().unwrap_or_default()),
        ("How", e.how.clone()),
        ("Received by", party),
        ("Identification seen", e.identification.clone()),
        ("Reference", e.reference.clone()),
        ("Seal", seal),
        ("Condition", words::condition(e.condition).to_owned()),
        ("Note", e.note.clone()),
    ];
    list.into_iter()
        .filter(|(_, v)| !v.trim().is_empty())
        .map(|(k, v)| (k.to_owned(), v))
        .collect()
}

/// Prints the certificate of what was disposed of.
///
/// # Errors
/// [`PaperError::Read`] where the viewer may not print or see it, [`PaperError::Count`] for what was not disposed of,
/// [`PaperError::Report`] for a text that cannot be printed, [`PaperError::Record`].
pub async fn certificate(
    reader: &Reader<'_>,
    by: By,
    piece: Piece,
    layout: &Layout,
) -> Result<Printed, PaperError> {
    reader.must(Action::PrintReport)?;
    let thing = reader.thing(piece).await?;
    let case = reader.case(thing.case()).await?;
    let agency = agency(reader, layout).await?;
    let subject = Subject::from(piece);
    let past = reader.history(subject).await?;
    let (mut authorised, mut executed, mut witnessed) = (None, None, None);
    for p in &past {
        match &p.fact {
            Some(Fact::DispositionAuthorised(x)) => authorised = Some((p, x)),
            Some(Fact::DispositionExecuted(x)) => executed = Some((p, x)),
            Some(Fact::DispositionWitnessed(x)) => witnessed = Some((p, x)),
            _ => {}
        }
    }
    let (Some((ap, a)), Some((ep, e)), Some((wp, w))) = (authorised, executed, witnessed) else {
        return Err(PaperError::Count(format!(
            "{} was not disposed of by itself, so there is no certificate of it",
            thing.name()
        )));
    };
    let state = reader.around(&[subject]).await?;
    let head = latest(reader).await?;
    let id = CommandId::new();
    let now = Utc::now();
    let model = DispositionCertificate {
        agency: agency.name.clone(),
        case_number: case.number.clone(),
        case_title: case.title.clone(),
        thing: words::title(&state, piece),
        code: thing.code().grouped(),
        method: w.method.words().to_owned(),
        facts: facts(a, e),
        steps: vec![
            step("Authorised", ap, agency.zone),
            step("Carried out", ep, agency.zone),
            step("Witnessed", wp, agency.zone),
        ],
        items: state
            .items_in(piece)
            .into_iter()
            .map(|i| Item {
                number: i.number.to_string(),
                code: i.code.grouped(),
                description: i.recovered.description.clone(),
            })
            .collect(),
        ledger: vec![
            ("Events in the ledger".into(), head.size.to_string()),
            ("Head of its tree".into(), head.root.to_string()),
            ("Signature".into(), signing::words(reader.house(), now)),
        ],
        printed_by: reader.viewer().name().to_owned(),
        printed_when: words::when(&now, agency.zone),
        printed_at: now,
        print_id: id.to_string(),
        paper: agency.paper,
    };
    let bytes = aside(move || disposition_certificate(&model)).await?;
    let composed = Composed {
        bytes,
        ledger_size: head.size,
        counts: vec![format!("{subject}={}", past.len())],
        file_name: file_name(&[&case.number, &thing.name(), "certificate of disposition"]),
    };
    let about = About::new(subject, PaperKind::DispositionCertificate);
    put_on_record(reader, by, id, about, composed).await
}
