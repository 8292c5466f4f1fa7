//! The trade rules as custody asks for them.

use chrono::{DateTime, FixedOffset};

use crate::custody::item::{ItemRecovered, Recover};
use crate::custody::mark::{MarkKind, MarkNoted};
use crate::custody::place::PlaceAdded;
use crate::custody::retention::RetentionClass;
use crate::custody::rules::{MediumWords, Recovery, Trade, TradeReason};
use crate::custody::state::{Item, Thing};
use crate::keeping::fitting::{Sides, goes_in};
use crate::keeping::packaging::{Facts, allows_container, allows_kind};
use crate::keeping::storing::{PlaceFacts, allows_place};
use crate::keeping::times::dry_enough;
use crate::keeping::{Climate, KeepNeeds, PackingRule, Reason, When};
use crate::lifting::advise::{Advice, Question, advise};
use crate::lifting::contrast::{self, Ground};
use crate::lifting::handedness::{Lateral, Step, read};
use crate::lifting::medium::{Form, chain};
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

fn reason(reason: Reason) -> TradeReason {
    TradeReason {
        rule: reason.rule,
        sentence: reason.sentence,
        next: reason.next,
        source: reason.source,
    }
}

/// What the facts of a recovery ask for by the rules in force; none for a medium that the rules do not have.
fn derived(
    rules: &TradeRules,
    item: &ItemRecovered,
    noted: Option<&MarkNoted>,
    wet: bool,
) -> Option<KeepNeeds> {
    let facts = Facts {
        wet,
        biological: item.biological,
        fragile: item.fragile,
        sharp: item.sharp,
        ridge: noted.is_some_and(|n| n.mark_kind == MarkKind::FrictionRidge),
        size_mm: item.size_mm,
        surface: noted
            .and_then(|n| rules.substrate(&n.substrate))
            .map(|s| s.class),
    };
    Some(KeepNeeds::derive(
        rules.keeping(),
        rules.medium_ever(&item.medium)?,
        &facts,
    ))
}

/// Every item in these things, through all packages.
#[must_use]
pub fn items_in<'a>(things: &[Thing<'a>]) -> Vec<&'a Item> {
    let mut out = Vec::new();
    for thing in things {
        match thing {
            Thing::Item(item) => out.push(*item),
            Thing::Package { contents, .. } => out.extend(items_in(contents)),
        }
    }
    out
}

/// The sizes of these things, as far as they were measured. A package is at least as large as its inside; one whose
/// inside is not on record, at least as large as each thing in it.
#[must_use]
pub fn sizes(things: &[Thing<'_>]) -> Vec<Sides> {
    let mut out = Vec::new();
    for thing in things {
        match thing {
            Thing::Item(item) => out.extend(item.recovered.size_mm),
            Thing::Package {
                inner_mm: Some(inner),
                ..
            } => out.push(*inner),
            Thing::Package { contents, .. } => out.extend(sizes(contents)),
        }
    }
    out
}

/// The names of these containers, each with its article left to the reader.
fn names(rules: &TradeRules, ids: &[String]) -> String {
    let all: Vec<&str> = ids
        .iter()
        .map(|id| rules.container(id).map_or(id.as_str(), |c| c.name.as_str()))
        .collect();
    all.join(", ")
}

/// What a thing asks for, seen from outside: an item as recorded at its recovery, a package what reaches through its
/// container, and what the container itself asks for.
#[must_use]
pub fn needs(rules: &TradeRules, thing: &Thing<'_>) -> Option<KeepNeeds> {
    match thing {
        Thing::Item(item) => match item.needs() {
            Some(needs) => Some(needs.clone()),
            None => derived(rules, &item.recovered, None, item.is_wet()),
        },
        Thing::Package {
            container,
            contents,
            ..
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

    fn knows_view(&self, medium: &str, view: &str) -> bool {
        self.medium(medium).is_some_and(|m| m.view(view).is_some())
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

    fn climate(&self, id: &str) -> Option<Climate> {
        TradeRules::climate(self, id).cloned()
    }

    fn recovery(&self, asked: &Recover, noted: &MarkNoted, methods: &[String]) -> Option<Recovery> {
        let medium = self.medium(&asked.medium)?;
        let used = Ground::of_word(&asked.card);
        // The last development is what the mark looks like now; one without a fixed tone leaves tone unknown.
        let tone: Option<MarkTone> = methods
            .last()
            .and_then(|code| self.method_ever(code))
            .map(|m| m.tone);
        let how_viewed = Some(asked.how_viewed.as_str()).filter(|v| !v.is_empty());
        let steps = chain(medium, how_viewed, tone, used)?;
        let reading = read(&steps);
        let mut warnings = Vec::new();
        // Behind the mark lies the card, or the lifter itself.
        let ground = if medium.card { used } else { medium.ground };
        if let (Some(tone), Some(ground)) = (tone, ground) {
            warnings.extend(contrast::warning(tone, ground));
        }
        let window = self.set_window(medium, asked.air_c, asked.thickness);
        if let Some(set) = asked.set_at {
            let check = set_time::check(medium, window.as_ref(), asked.started_at, set);
            if check.warning {
                warnings.push(check.sentence);
            }
        }
        let facts = Facts {
            wet: asked.wet,
            biological: asked.biological,
            fragile: asked.fragile,
            sharp: asked.sharp,
            ridge: noted.mark_kind == MarkKind::FrictionRidge,
            size_mm: asked.size_mm,
            surface: self.substrate(&noted.substrate).map(|s| s.class),
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
            set_window: window.map(|w| w.sentence()).unwrap_or_default(),
            warnings,
        })
    }

    fn medium_words(&self, id: &str) -> Option<MediumWords> {
        self.medium(id).map(|m| MediumWords {
            name: m.name.clone(),
            carried: !matches!(m.form, Form::Object | Form::Image),
        })
    }

    fn advise(&self, question: &Question) -> Advice {
        advise(&self.knowledge(), question)
    }

    fn rules_version(&self) -> &str {
        self.version()
    }

    fn reading(&self, view: &[String]) -> Option<(String, String)> {
        let steps: Vec<Step> = view.iter().map(|s| s.parse().ok()).collect::<Option<_>>()?;
        let reading = read(&steps);
        Some((word(reading.lateral).to_owned(), reading.sentence))
    }

    fn dried(&self, recovered: &ItemRecovered, noted: &MarkNoted) -> Option<KeepNeeds> {
        derived(self, recovered, Some(noted), false)
    }

    fn container(
        &self,
        things: &[Thing<'_>],
        container: &str,
        inner_mm: Option<Sides>,
    ) -> Result<(), TradeReason> {
        if things.is_empty() {
            return Ok(());
        }
        let packing = joined(self, things).packing;
        let kind = if inner_mm.is_some() {
            allows_kind(&packing, container)
        } else {
            allows_container(&packing, container)
        };
        kind.map_err(|mut why| {
            if !packing.must_one_of.is_empty() && why.next.starts_with("Use one") {
                why.next = format!("Use one of these: {}.", names(self, &packing.must_one_of));
            }
            let for_wet = |r: &PackingRule| r.id == why.rule && r.when.contains(&When::Wet);
            if self.keeping().packing.iter().any(for_wet) {
                why.next
                    .push_str(" Or dry it first, and put on the record since when it is dry.");
            }
            reason(why)
        })?;
        let inner = inner_mm.or_else(|| self.container(container).and_then(|c| c.inner_mm));
        match inner {
            Some(inner) => goes_in(&sizes(things), inner, packing.clearance_mm()).map_err(reason),
            None => Ok(()),
        }
    }

    fn dry_enough(
        &self,
        things: &[Thing<'_>],
        container: &str,
        at: DateTime<FixedOffset>,
    ) -> Result<(), TradeReason> {
        for item in items_in(things) {
            let packing = needs(self, &Thing::Item(item)).unwrap_or_default().packing;
            dry_enough(
                &packing.drying,
                &packing.reasons,
                &item.moments(),
                container,
                at,
            )
            .map_err(|mut why| {
                why.sentence = format!("Item {}: {}", item.number, why.sentence);
                let meanwhile: Vec<String> = packing
                    .drying
                    .iter()
                    .flat_map(|d| d.meanwhile_in.clone())
                    .collect();
                if !meanwhile.is_empty() {
                    why.next = format!(
                        "Pack it now in one of these: {}; or in this one after that time.",
                        names(self, &meanwhile)
                    );
                }
                reason(why)
            })?;
        }
        Ok(())
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
