//! Where a piece is now: who has it, in which packages, on offer to whom, due back when.

use chrono::{DateTime, FixedOffset, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::custody_rows::{claimed_at, moves};
use super::trail::Step;
use super::words;
use crate::custody::disposition::Disposition;
use crate::custody::package::MAX_DEPTH;
use crate::custody::state::{Custody, Holder};
use crate::custody::{Fact, State};
use crate::ids::{Code, PackageId, PersonId, Piece, Subject};
use crate::zone::Zone;

/// A package around a piece.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Around {
    /// Which.
    pub id: PackageId,
    /// `Package P2`.
    pub name: String,
    /// The code on its label.
    pub code: Code,
    /// The same in groups.
    pub code_grouped: String,
    /// The number of the seal that is on it; empty for none.
    pub seal: String,
}

/// An open offer in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OfferNow {
    /// Who released.
    pub by: PersonId,
    /// The same in words.
    pub by_name: String,
    /// To whom.
    pub to: PersonId,
    /// The same in words.
    pub to_name: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// The same in words.
    pub when: String,
    /// For how long, in words.
    pub open_for: String,
    /// Why.
    pub purpose: String,
    /// Due back, in words; empty for none.
    pub due: String,
}

/// A loan in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LoanNow {
    /// Why.
    pub purpose: String,
    /// Since when.
    pub since: DateTime<FixedOffset>,
    /// The same in words.
    pub since_words: String,
    /// Due back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// The same in words; empty for none.
    pub due: String,
    /// Whether that has passed.
    pub overdue: bool,
    /// `due in 2 days 4 h`, `overdue for 3 h`; empty without a date.
    pub words: String,
}

/// Where a piece is now.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Standing {
    /// Who has it: the holder of the outermost package.
    pub holder: Holder,
    /// The same in words.
    pub holder_words: String,
    /// Since when, as far as its trail says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<DateTime<FixedOffset>>,
    /// The same in words; empty where it is not known.
    pub since_words: String,
    /// The packages around it, the innermost first.
    pub inside: Vec<Around>,
    /// What is handed over when it is handed over: the outermost package, or the piece itself.
    pub outermost: Piece,
    /// The same in words: `package P2`.
    pub outermost_name: String,
    /// The open offer of the outermost.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offer: Option<OfferNow>,
    /// The loan of the outermost.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loan: Option<LoanNow>,
    /// By whose authority the outermost is outside or on loan; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// The carrier's tracking number while the outermost is outside; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub tracking: String,
    /// How far its disposition is, in a sentence.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disposition: Option<String>,
    /// Whether its custody has ended.
    pub disposed: bool,
    /// All of it in a sentence.
    pub sentence: String,
}

/// Where a piece is now; none where the state does not hold it. The steps, where the caller has them, say since when.
#[must_use]
pub fn standing(
    state: &State,
    piece: Piece,
    steps: &[Step],
    zone: Zone,
    now: DateTime<Utc>,
) -> Option<Standing> {
    let outermost = state.outermost(piece);
    let custody = state.custody(outermost)?;
    let inside = around(state, piece);
    let holder_words = words::holder(state, &custody.holder);
    let since = steps
        .iter()
        .rev()
        .find(|s| {
            s.past.fact.as_ref().is_some_and(|f| match f {
                Fact::PackageMade(x) => Subject::Package(x.package) == Subject::from(piece),
                other => moves(other),
            })
        })
        .map(claimed_at);
    let offer = custody.offer.as_ref().map(|o| OfferNow {
        by: o.by,
        by_name: words::person_in(state, o.by),
        to: o.to,
        to_name: words::person_in(state, o.to),
        at: o.at,
        when: words::minute(&o.at, zone),
        open_for: words::duration_words(now - o.at.to_utc()),
        purpose: o.purpose.clone(),
        due: o
            .due_at
            .map(|d| words::minute(&d, zone))
            .unwrap_or_default(),
    });
    let loan = custody.loan.as_ref().map(|l| {
        let overdue = l.due_at.is_some_and(|d| now > d.to_utc());
        LoanNow {
            purpose: l.purpose.clone(),
            since: l.since,
            since_words: words::minute(&l.since, zone),
            due_at: l.due_at,
            due: l
                .due_at
                .map(|d| words::minute(&d, zone))
                .unwrap_or_default(),
            overdue,
            words: l.due_at.map(|d| due(d, now)).unwrap_or_default(),
        }
    });
    let mut sentence = format!("{} is", words::title(state, piece));
    for package in &inside {
        sentence.push_str(" in ");
        sentence.push_str(&lower(&package.name));
        if !package.seal.is_empty() {
            sentence.push_str(&format!(" (sealed {})", package.seal));
        }
    }
    sentence.push_str(match &custody.holder {
        Holder::Place { .. } => " at ",
        Holder::Disposed { .. } => " no longer in custody: ",
        _ => " with ",
    });
    sentence.push_str(&holder_words);
    if let Some(o) = &offer {
        sentence.push_str(&format!(", on offer to {} since {}", o.to_name, o.when));
    }
    if let Some(l) = loan.as_ref().filter(|l| !l.words.is_empty()) {
        sentence.push_str(&format!(", {}", l.words));
    }
    sentence.push('.');
    Some(Standing {
        holder: custody.holder.clone(),
        holder_words,
        since,
        since_words: since.map(|s| words::minute(&s, zone)).unwrap_or_default(),
        inside,
        outermost,
        outermost_name: state.name(outermost),
        offer,
        loan,
        authority: authority(custody).to_owned(),
        tracking: tracking(custody).to_owned(),
        disposition: custody
            .disposition
            .as_ref()
            .map(|d| disposition(state, d, zone)),
        disposed: matches!(custody.holder, Holder::Disposed { .. }),
        sentence,
    })
}

/// By whose authority something is away: outside, or else with a colleague.
fn authority(custody: &Custody) -> &str {
    match (&custody.out, &custody.loan) {
        (Some(out), _) => &out.authority,
        (None, Some(loan)) => &loan.authority,
        (None, None) => "",
    }
}

/// The carrier's tracking number of what is outside; empty for none.
#[must_use]
pub fn tracking(custody: &Custody) -> &str {
    custody.out.as_ref().map_or("", |o| o.tracking.as_str())
}

/// When something is due, against now.
#[must_use]
pub fn due(due: DateTime<FixedOffset>, now: DateTime<Utc>) -> String {
    let due = due.to_utc();
    if now > due {
        format!("overdue for {}", words::duration_words(now - due))
    } else {
        format!("due in {}", words::duration_words(due - now))
    }
}

fn disposition(state: &State, d: &Disposition, zone: Zone) -> String {
    let mut said = format!(
        "authorised by {}, {}, to be {} (authority: {}; {})",
        words::person_in(state, d.by),
        words::minute(&d.at, zone),
        d.method.words(),
        d.authority,
        d.reason
    );
    if let Some(e) = &d.executed {
        said.push_str(&format!(
            "; carried out by {}, {}; witness {}",
            words::person_in(state, e.by),
            words::minute(&e.at, zone),
            words::person_in(state, e.witness)
        ));
    }
    said.push('.');
    said
}

fn lower(name: &str) -> String {
    let mut chars = name.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_lowercase().chain(chars).collect())
}

fn around(state: &State, piece: Piece) -> Vec<Around> {
    let mut out = Vec::new();
    let mut at = piece;
    for _ in 0..=MAX_DEPTH {
        let Some(id) = state.custody(at).and_then(|c| c.inside) else {
            break;
        };
        let Some(package) = state.packages.get(&id) else {
            break;
        };
        out.push(Around {
            id,
            name: words::title(state, Piece::Package(id)),
            code: package.code.clone(),
            code_grouped: package.code.grouped(),
            seal: package.seal().map(|s| s.number.clone()).unwrap_or_default(),
        });
        at = Piece::Package(id);
    }
    out
}
