//! The trade rules as custody asks for them.

use chrono::{DateTime, FixedOffset};

use crate::custody::item::{ItemRecovered, Recover};
use crate::custody::place::PlaceAdded;
use crate::custody::rules::{Recovery, Trade, TradeReason};
use crate::custody::state::Item;
use crate::keeping::packaging::{Facts, allows_container};
use crate::keeping::storing::{PlaceFacts, allows_place};
use crate::keeping::{KeepNeeds, Reason};
use crate::lifting::contrast::{self, Ground};
use crate::lifting::handedness::{Lateral, Step, read};
use crate::lifting::medium::chain;
use crate::lifting::method::MarkTone;
use crate::lifting::set_time;
use crate::trade::TradeRules;

fn word(lateral: Lateral) -> &'static str {
    match lateral {
        Lateral::Direct => "direct",
        Lateral::Reversed => "reversed",
        Lateral::Unknown => "unknown",
    }
}

fn ground(card: &str) -> Option<Ground> {
    [Ground::White, Ground::Black, Ground::Clear]
        .into_iter()
        .find(|g| g.word() == card.trim())
}

fn reason(reason: Reason) -> TradeReason {
    TradeReason {
        rule: reason.rule,
        sentence: reason.sentence,
        source: reason.source,
    }
}

fn facts(wet: bool, biological: bool, fragile: bool, sharp: bool) -> Facts {
    Facts {
        wet,
        biological,
        fragile,
        sharp,
        size_mm: None,
        surface: None,
    }
}

impl TradeRules {
    /// What an item needs by the rules in force; none for a medium that the rules no longer have.
    fn needs(&self, item: &ItemRecovered) -> Option<KeepNeeds> {
        let medium = self.medium(&item.medium)?;
        let facts = facts(item.wet, item.biological, item.fragile, item.sharp);
        Some(KeepNeeds::derive(self.keeping(), medium, &facts))
    }

    fn needs_of(&self, items: &[&Item]) -> KeepNeeds {
        let each: Vec<KeepNeeds> = items
            .iter()
            .filter_map(|i| self.needs(&i.recovered))
            .collect();
        KeepNeeds::join(&each).needs
    }
}

impl Trade for TradeRules {
    fn knows_method(&self, code: &str) -> bool {
        self.method(code).is_some()
    }

    fn knows_substrate(&self, code: &str) -> bool {
        self.substrate(code).is_some()
    }

    fn knows_container(&self, id: &str) -> bool {
        self.container(id).is_some()
    }

    fn recovery(
        &self,
        asked: &Recover,
        started: DateTime<FixedOffset>,
        methods: &[String],
    ) -> Option<Recovery> {
        let medium = self.medium(&asked.medium)?;
        let used = ground(&asked.card);
        // The last development is what the mark looks like now; one without a fixed tone leaves tone unknown.
        let tone: Option<MarkTone> = methods
            .last()
            .and_then(|code| self.method(code))
            .map(|m| m.tone);
        let steps = chain(medium, None, tone, used)?;
        let reading = read(&steps);
        let mut warnings = Vec::new();
        if let (true, Some(tone), Some(used)) = (medium.card, tone, used) {
            warnings.extend(contrast::warning(tone, used));
        }
        if let Some(set) = asked.set_at {
            let check = set_time::check(medium, started, set);
            if check.warning {
                warnings.push(check.sentence);
            }
        }
        let facts = facts(asked.wet, asked.biological, asked.fragile, asked.sharp);
        let needs = KeepNeeds::derive(self.keeping(), medium, &facts);
        let packing = needs
            .packing
            .reasons
            .iter()
            .map(|r| format!("{} ({})", r.sentence, r.source))
            .collect();
        let form = serde_json::to_value(medium.form).ok()?.as_str()?.to_owned();
        Some(Recovery {
            medium_name: medium.name.clone(),
            form,
            view: steps.iter().map(|s| s.name().to_owned()).collect(),
            reads: word(reading.lateral).to_owned(),
            because: reading.sentence,
            packing,
            warnings,
        })
    }

    fn reading(&self, view: &[String]) -> Option<(String, String)> {
        let steps: Vec<Step> = view.iter().map(|s| s.parse().ok()).collect::<Option<_>>()?;
        let reading = read(&steps);
        Some((word(reading.lateral).to_owned(), reading.sentence))
    }

    fn container(&self, items: &[&Item], container: &str) -> Result<(), TradeReason> {
        if items.is_empty() {
            return Ok(());
        }
        allows_container(&self.needs_of(items).packing, container).map_err(reason)
    }

    fn place(&self, items: &[&Item], place: &PlaceAdded) -> Result<(), Vec<TradeReason>> {
        let facts = PlaceFacts {
            freezing: self
                .climate(&place.climate)
                .is_some_and(crate::keeping::Climate::freezes),
            climate: Some(place.climate.clone()),
            damp: place.damp,
            light: place.lit,
            hot: false,
            dusty: false,
            on_edge: false,
            stacked: false,
            biohazard: false,
        };
        allows_place(&self.needs_of(items), &facts)
            .map_err(|all| all.into_iter().map(reason).collect())
    }
}
