//! The trade rules as custody asks for them.

use crate::custody::item::{ItemRecovered, Recover};
use crate::custody::place::PlaceAdded;
use crate::custody::retention::RetentionClass;
use crate::custody::rules::{Recovery, Trade, TradeReason};
use crate::custody::state::Thing;
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
        next: reason.next,
        source: reason.source,
    }
}

/// What a record without needs asks for by the rules in force; none for a medium that the rules no longer have.
fn derived(rules: &TradeRules, item: &ItemRecovered) -> Option<KeepNeeds> {
    let facts = Facts {
        wet: item.wet,
        biological: item.biological,
        fragile: item.fragile,
        sharp: item.sharp,
        size_mm: item.size_mm,
        surface: None,
    };
    Some(KeepNeeds::derive(
        rules.keeping(),
        rules.medium_ever(&item.medium)?,
        &facts,
    ))
}

/// What a thing asks for, seen from outside: an item as recorded at its recovery, a package what reaches through its
/// container, and what the container itself asks for.
#[must_use]
pub fn needs(rules: &TradeRules, thing: &Thing<'_>) -> Option<KeepNeeds> {
    match thing {
        Thing::Item(item) => match &item.recovered.needs {
            Some(needs) => Some(needs.as_ref().clone()),
            None => derived(rules, &item.recovered),
        },
        Thing::Package {
            container,
            contents,
        } => Some(joined(rules, contents).enclosed(rules.keeping(), container)),
    }
}

/// What several things ask for together.
#[must_use]
pub fn joined(rules: &TradeRules, things: &[Thing<'_>]) -> KeepNeeds {
    let each: Vec<KeepNeeds> = things.iter().filter_map(|t| needs(rules, t)).collect();
    KeepNeeds::join(&each).needs
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

    fn retention(&self, class: &str) -> Option<RetentionClass> {
        self.schedule().class(class).cloned()
    }

    fn knows_climate(&self, id: &str) -> bool {
        self.climate(id).is_some()
    }

    fn recovery(&self, asked: &Recover, substrate: &str, methods: &[String]) -> Option<Recovery> {
        let medium = self.medium(&asked.medium)?;
        let used = ground(&asked.card);
        // The last development is what the mark looks like now; one without a fixed tone leaves tone unknown.
        let tone: Option<MarkTone> = methods
            .last()
            .and_then(|code| self.method_ever(code))
            .map(|m| m.tone);
        let steps = chain(medium, None, tone, used)?;
        let reading = read(&steps);
        let mut warnings = Vec::new();
        if let (true, Some(tone), Some(used)) = (medium.card, tone, used) {
            warnings.extend(contrast::warning(tone, used));
        }
        if let Some(set) = asked.set_at {
            let check = set_time::check(medium, asked.started_at, set);
            if check.warning {
                warnings.push(check.sentence);
            }
        }
        let facts = Facts {
            wet: asked.wet,
            biological: asked.biological,
            fragile: asked.fragile,
            sharp: asked.sharp,
            size_mm: asked.size_mm,
            surface: self.substrate(substrate).map(|s| s.class),
        };
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
            needs,
            warnings,
        })
    }

    fn reading(&self, view: &[String]) -> Option<(String, String)> {
        let steps: Vec<Step> = view.iter().map(|s| s.parse().ok()).collect::<Option<_>>()?;
        let reading = read(&steps);
        Some((word(reading.lateral).to_owned(), reading.sentence))
    }

    fn container(&self, things: &[Thing<'_>], container: &str) -> Result<(), TradeReason> {
        if things.is_empty() {
            return Ok(());
        }
        allows_container(&joined(self, things).packing, container).map_err(reason)
    }

    fn place(&self, thing: &Thing<'_>, place: &PlaceAdded) -> Result<(), Vec<TradeReason>> {
        let facts = PlaceFacts {
            freezing: self
                .climate(&place.climate)
                .is_some_and(crate::keeping::Climate::freezes),
            climate: Some(place.climate.clone()),
            damp: place.damp,
            light: place.lit,
            hot: place.hot,
            dusty: place.dusty,
            on_edge: place.on_edge,
            stacked: place.stacked,
            biohazard: place.biohazard_marked,
        };
        let needs = needs(self, thing).unwrap_or_default();
        allows_place(&needs, &facts).map_err(|all| all.into_iter().map(reason).collect())
    }
}
