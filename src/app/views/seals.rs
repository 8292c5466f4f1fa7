//! The seals of packages, from the trail: applied, looked at, cut.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::Serialize;

use super::custody_rows::{by_name, claimed_at};
use super::trail::Step;
use super::words;
use crate::custody::hand_over::Condition;
use crate::custody::import::NOT_ON_RECORD;
use crate::custody::{Fact, State};
use crate::ids::{PackageId, Piece};
use crate::zone::Zone;

/// A seal.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SealWords {
    /// Number.
    pub number: String,
    /// The package it is or was on.
    pub package: PackageId,
    /// `package P2`.
    pub package_name: String,
    /// When it was applied.
    pub applied_at: DateTime<FixedOffset>,
    /// The same in words.
    pub applied: String,
    /// By whom.
    pub applied_by: String,
    /// Whether initials and date were written across it.
    pub initialled: bool,
    /// When it was cut.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cut_at: Option<DateTime<FixedOffset>>,
    /// The same in words; empty while it holds.
    pub cut: String,
    /// By whom; empty while it holds.
    pub cut_by: String,
    /// Why; empty while it holds.
    pub cut_reason: String,
    /// The event that applied it.
    pub seq: u64,
    /// What was seen that is not the number on record, each time it was looked at.
    pub mismatches: Vec<String>,
}

/// The seals of a trail, in the order in which they were applied.
#[must_use]
pub fn seals(steps: &[Step], state: &State, zone: Zone) -> Vec<SealWords> {
    let mut out: Vec<SealWords> = Vec::new();
    for step in steps {
        let (on, seen, condition) = match &step.past.fact {
            Some(Fact::PackageSealed(x)) => {
                let at = claimed_at(step);
                out.push(SealWords {
                    number: x.seal.clone(),
                    package: x.package,
                    package_name: state.name(Piece::Package(x.package)),
                    applied_at: at,
                    applied: words::minute(&at, zone),
                    applied_by: by_name(step),
                    initialled: x.initialled,
                    cut_at: None,
                    cut: String::new(),
                    cut_by: String::new(),
                    cut_reason: String::new(),
                    seq: step.seq(),
                    mismatches: Vec::new(),
                });
                continue;
            }
            Some(Fact::ItemImported(x)) => {
                let at = claimed_at(step);
                if let (Some(package), Some(number)) = (x.package, &x.seal) {
                    out.push(SealWords {
                        number: number.clone(),
                        package,
                        package_name: state.name(Piece::Package(package)),
                        applied_at: at,
                        applied: format!("imported {}", words::minute(&at, zone)),
                        applied_by: NOT_ON_RECORD.into(),
                        initialled: false,
                        cut_at: None,
                        cut: String::new(),
                        cut_by: String::new(),
                        cut_reason: String::new(),
                        seq: step.seq(),
                        mismatches: Vec::new(),
                    });
                }
                continue;
            }
            Some(Fact::PackageOpened(x)) => (&x.seal, &x.seal_seen, x.condition),
            Some(Fact::Received(x)) => (&x.seal, &x.seal_seen, x.condition),
            Some(Fact::TakenBack(x)) => (&x.seal, &x.seal_seen, x.condition),
            Some(Fact::ChargeTaken(x)) => (&x.seal, &x.seal_seen, x.condition),
            _ => continue,
        };
        let Some(seal) = out.iter_mut().rev().find(|s| s.number == *on) else {
            continue;
        };
        let differs = !seen.is_empty() && seen != on;
        if differs || condition == Condition::Mismatch {
            seal.mismatches.push(if seen.is_empty() {
                "not read".into()
            } else {
                seen.clone()
            });
        }
        if let Some(Fact::PackageOpened(x)) = &step.past.fact {
            let at = claimed_at(step);
            seal.cut_at = Some(at);
            seal.cut = words::minute(&at, zone);
            seal.cut_by = by_name(step);
            seal.cut_reason.clone_from(&x.reason);
        }
    }
    out
}
