//! What was somewhere before this ledger saw it: brought to the counter, or taken over from another record.

use chrono::Duration;
use liftledger::ids::{CommandId, Piece};
use serde_json::{Value, json};

use super::{MOST_CASES, Maker, Shadow};

const FORMS: [&str; 5] = ["", "object", "card-lift", "gel", "cast"];

impl Maker {
    /// The number of a case that is there, or of one to be opened.
    fn number(&mut self, room: &Shadow) -> String {
        let new = room.cases.len() < MOST_CASES + 6 && self.dice.percent(20);
        let open = |c: &usize| !room.cases[*c].restricted;
        let open: Vec<usize> = (0..room.cases.len()).filter(open).collect();
        let case = match self.dice.pick(&open) {
            Some(case) if self.dice.percent(90) => Some(case),
            _ => self.case(room),
        };
        match case {
            Some(case) if !new => room.cases[case].number.clone(),
            _ => format!("FP-26-{:04}", self.made),
        }
    }

    /// The name of a place, mostly of one where somebody alone may put something.
    fn shelf(&mut self, room: &Shadow) -> Option<String> {
        let all = 0..room.places.len();
        let alone: Vec<usize> = all.filter(|p| !room.for_two(*p)).collect();
        let place = match self.dice.pick(&alone) {
            Some(place) if self.dice.percent(90) => place,
            _ => self.place(room)?,
        };
        Some(room.places[place].name.clone())
    }

    pub(super) fn bring_in(&mut self, room: &Shadow) -> Option<(Option<usize>, Value)> {
        let case = self.number(room);
        let title = if self.dice.percent(85) {
            "Found property"
        } else {
            ""
        };
        let origin = self.dice.pick(&["public", "agency", "found"])?;
        let form = if self.dice.percent(8) {
            "treasure"
        } else {
            self.dice.pick(&FORMS)?
        };
        Some((
            None,
            json!({"case": case, "case_title": title, "origin": origin, "brought_by": "unknown", "form": form,
            "description": format!("ring {}", self.made), "condition": "scratched", "wet": self.dice.percent(10)}),
        ))
    }

    /// A handful of rows; now and then one that cannot be recorded, so that none is.
    pub(super) fn import(&mut self, room: &Shadow) -> Option<(Option<usize>, Value)> {
        let n = self.made;
        let mut rows: Vec<Value> = vec![];
        for row in 1..=1 + self.dice.below(4) {
            let mut fields = json!({"row": row, "item": CommandId::new(), "case": self.number(room),
                "former": format!("{n}/{row}"), "description": format!("lift {row} of the old book"),
                "form": self.dice.pick(&FORMS)?});
            match self.dice.below(10) {
                0..4 => fields["place"] = json!(self.shelf(room)?),
                4..6 => fields["holder"] = json!("County laboratory"),
                _ => {}
            }
            match self.dice.below(10) {
                0..3 => fields["seal"] = json!(format!("old {n} {row}")),
                3..5 => fields["container"] = json!("brown envelope"),
                _ => {}
            }
            rows.push(fields);
        }
        let last = rows.len() - 1;
        match self.dice.below(24) {
            0 => rows[last]["place"] = json!("No such shelf"),
            1 => {
                rows[last]["place"] = json!(self.shelf(room)?);
                rows[last]["holder"] = json!("County laboratory");
            }
            2 => rows[last]["seal"] = json!(format!("HC {}", self.dice.below(30))),
            3 => {
                let item = self.item(room, |_| true)?;
                if let Piece::Item(id) = room.things[item].piece {
                    rows[last]["item"] = json!(id);
                }
            }
            4 => rows.push(rows[0].clone()),
            5 => {
                let day = (self.now + Duration::days(2)).date_naive();
                rows[last]["received_on"] = json!(day);
            }
            6 => rows[last]["form"] = json!("treasure"),
            7 => rows.clear(),
            _ => {}
        }
        let digest = self.digest();
        Some((
            None,
            json!({"file": "old book.csv", "digest": digest, "rows": rows}),
        ))
    }
}
