//! Packages split, merged and packed anew.

use serde_json::{Value, json};

use super::{Maker, Shadow};
use liftledger::ids::Piece;

impl Maker {
    /// Mostly what fits its reason; now and then another package, or what lies in none of them.
    pub(super) fn repack(&mut self, room: &Shadow) -> Option<(Option<usize>, Value)> {
        let n = self.made;
        let why = self.dice.pick(&[
            "split",
            "split",
            "merge",
            "merge",
            "damaged",
            "wet",
            "wrong-container",
            "other",
        ])?;
        let least = if why == "split" { 2 } else { 1 };
        let ready = |t: usize, who: usize| room.in_hand(t, who) && !room.frozen(t);
        let first = self.package(room, |t| {
            Self::holder(room, t).is_some_and(|p| ready(t, p)) && room.contents(t).len() >= least
        })?;
        let who = Self::holder(room, first);
        let mut from = vec![first];
        if why == "merge" || self.dice.percent(5) {
            let case = room.things[first].case;
            let any = self.dice.percent(10);
            let other = self.package(room, |t| {
                t != first
                    && who.is_some_and(|p| ready(t, p))
                    && (any || room.things[t].case == case)
                    && !room.contents(t).is_empty()
            });
            from.extend(other);
        }
        let inside = room.contents(first);
        let mut contents = vec![];
        if why == "split" && self.dice.percent(90) {
            let some = 1 + self.dice.below(inside.len().saturating_sub(1).max(1));
            contents.extend(inside.into_iter().take(some));
        } else if self.dice.percent(8) {
            contents.extend(self.any_thing(room));
        }
        let mut sources = vec![];
        for package in from {
            let Piece::Package(id) = room.things[package].piece else {
                return None;
            };
            let seen = self.seal_seen(room, package);
            sources.push(json!({"package": id, "seal_seen": seen, "condition": "intact"}));
        }
        let container = self.dice.pick(&[
            "envelope-paper",
            "box-rigid-small",
            "box-rigid-large",
            "bag-paper",
        ])?;
        let seal = match self.dice.below(10) {
            0..5 => format!("HC {n}"),
            5 => format!("HC {}", self.dice.below(30)),
            _ => String::new(),
        };
        let contents: Vec<Piece> = contents.into_iter().map(|t| room.things[t].piece).collect();
        Some((
            who,
            json!({"sources": sources, "contents": contents, "why": why, "reason": "the corner is torn",
            "container": container, "seal": seal, "initialled": true}),
        ))
    }
}
