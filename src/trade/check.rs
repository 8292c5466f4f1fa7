//! Whether the entries agree with each other: what is named is there, and each entry agrees with itself.

use super::draft::{Entries, Entry, Placed};
use super::error::TradeErrors;
use super::kind::Draft;
use crate::keeping::NeedKind;
use crate::lifting::advise::checklist::photograph_first;
use crate::lifting::set_window::row_problems;

/// Checks everything but whether a rule can be reached; adds what is wrong to the errors.
pub(super) fn all(draft: &Draft<'_>, errors: &mut TradeErrors) {
    empty(draft, errors);
    for c in &draft.cautions.list {
        said(c, &c.value.text, "the caution says nothing", errors);
        said(
            c,
            &c.value.defers_to,
            "a caution names what it defers to",
            errors,
        );
    }
    for m in &draft.media.list {
        for problem in m.value.problems() {
            errors.add(m.error(&problem));
        }
        names(m, &m.value.cautions, &draft.cautions, "caution", errors);
        if let Err(problem) = photograph_first(&m.value) {
            errors.add(m.error_near("how", &problem));
        }
    }
    for m in &draft.methods.list {
        said(m, &m.value.tone_source, "the tone names no source", errors);
        names(m, &m.value.cautions, &draft.cautions, "caution", errors);
    }
    for c in &draft.climates.list {
        if let (Some(min), Some(max)) = (c.value.min_tenths_c, c.value.max_tenths_c)
            && min > max
        {
            errors.add(c.error("the lowest temperature lies above the highest"));
        }
    }
    packing(draft, errors);
    places(draft, errors);
    advice(draft, errors);
    checklists(draft, errors);
    sheets(draft, errors);
    disabled(draft, errors);
}

fn advice(draft: &Draft<'_>, errors: &mut TradeErrors) {
    for r in &draft.advice.list {
        let rule = &r.value;
        if let Err(problem) = rule.check() {
            errors.add(r.error(&problem));
        }
        names(r, &rule.media, &draft.media, "medium", errors);
        for codes in [&rule.when.methods_any, &rule.when.methods_none] {
            names(r, codes, &draft.methods, "processing code", errors);
        }
    }
}

/// The checklist of a medium that an agency has written anew is its own; the program's is passed over then.
fn checklists(draft: &Draft<'_>, errors: &mut TradeErrors) {
    for c in &draft.checklists.list {
        let id = c.value.id.clone();
        names(c, &[id], &draft.media, "medium", errors);
        let medium = draft.media.list.iter().find(|m| m.value.id == c.value.id);
        if let Some(medium) = medium.filter(|m| c.agency || !m.agency)
            && let Err(problem) = c.value.check(&medium.value)
        {
            errors.add(c.error(&problem));
        }
    }
}

fn packing(draft: &Draft<'_>, errors: &mut TradeErrors) {
    for r in &draft.packing.list {
        let rule = &r.value;
        said(r, &rule.sentence, "the rule says nothing", errors);
        names(r, &rule.media, &draft.media, "medium", errors);
        names(r, &rule.one_of, &draft.containers, "container", errors);
        names(r, &rule.must_not, &draft.containers, "container", errors);
        for time in rule.drying.iter().chain(&rule.limit) {
            names(
                r,
                &time.meanwhile_in,
                &draft.containers,
                "container",
                errors,
            );
            if !time.rule.is_empty() {
                errors.add(r.error("a time bears its rule's name by itself"));
            }
        }
        names(r, &rule.cautions, &draft.cautions, "caution", errors);
        left(r, &rule.one_of, &draft.containers, "container", errors);
    }
}

fn places(draft: &Draft<'_>, errors: &mut TradeErrors) {
    for r in &draft.places.list {
        let rule = &r.value;
        said(r, &rule.sentence, "the rule says nothing", errors);
        names(r, &rule.media, &draft.media, "medium", errors);
        names(r, &rule.containers, &draft.containers, "container", errors);
        names(r, &rule.climates, &draft.climates, "climate class", errors);
        if (rule.need == NeedKind::ClimateOneOf) == rule.climates.is_empty() {
            errors.add(r.error(
                "climate classes are named by a rule that asks for one of them, and by no other",
            ));
        }
        left(r, &rule.climates, &draft.climates, "climate class", errors);
        if draft.packing.at(&rule.id).is_some() {
            errors.add(r.error("the identifier is also that of a packing rule"));
        }
    }
}

/// One sheet for a medium at most: which of two held on the day, nobody could say.
fn sheets(draft: &Draft<'_>, errors: &mut TradeErrors) {
    let list = &draft.sheets.list;
    for (i, s) in list.iter().enumerate() {
        let medium = std::slice::from_ref(&s.value.medium);
        names(s, medium, &draft.media, "medium", errors);
        if s.value.rows.is_empty() {
            errors.add(s.error("the sheet has no row"));
        }
        for problem in row_problems(&s.value.rows) {
            errors.add(s.error(&problem));
        }
        let other = list
            .iter()
            .take(i)
            .find(|o| o.value.medium == s.value.medium);
        if let Some(other) = other {
            errors.add(s.error(&format!(
                "\"{}\" is already the sheet of this medium",
                other.value.id
            )));
        }
    }
}

/// A rule that allows some of a list keeps at least one of it; the error stands where the last of them is switched off.
fn left<T: Entry, U: Entry>(
    rule: &Placed<'_, T>,
    allowed: &[String],
    of: &Entries<'_, U>,
    what: &str,
    errors: &mut TradeErrors,
) {
    if allowed.is_empty() || !allowed.iter().all(|id| of.is_disabled(id)) {
        return;
    }
    let mut off = of.disabled.iter().rev();
    if let Some(last) = off.find(|o| allowed.iter().any(|id| id == o.entry.value.id())) {
        errors.add(last.entry.error(&format!(
            "the rule \"{}\" is left with no {what}: replace the rule, too",
            rule.value.id()
        )));
    }
}

/// A caution may be said better, but not silenced while something that can hurt still names it.
fn disabled(draft: &Draft<'_>, errors: &mut TradeErrors) {
    for off in &draft.cautions.disabled {
        let id = &off.entry.value.id;
        let by = draft
            .media
            .list
            .iter()
            .map(|m| (&m.value.id, &m.value.cautions));
        let by = by.chain(
            draft
                .methods
                .list
                .iter()
                .map(|m| (&m.value.id, &m.value.cautions)),
        );
        let mut by = by.chain(
            draft
                .packing
                .list
                .iter()
                .map(|r| (&r.value.id, &r.value.cautions)),
        );
        if let Some((who, _)) = by.find(|(_, cautions)| cautions.contains(id)) {
            errors.add(off.entry.error(&format!(
                "\"{who}\" still names this caution: replace its text instead of disabling it"
            )));
        }
    }
}

/// Every kind has at least one entry in force; without, nothing could be recorded at all.
fn empty(draft: &Draft<'_>, errors: &mut TradeErrors) {
    fn one<T: Entry>(entries: &Entries<'_, T>, errors: &mut TradeErrors) {
        if !entries.list.is_empty() || !entries.broken.is_empty() {
            return;
        }
        match entries.disabled.first() {
            Some(off) => errors.add(off.entry.error(&format!(
                "with it every {} is disabled, and at least one is needed",
                T::KIND.word()
            ))),
            None => errors.add(super::error::TradeError {
                file: "seed/trade".into(),
                line: 1,
                problem: format!("there is no entry of the kind \"{}\"", T::KIND.word()),
            }),
        }
    }
    one(&draft.media, errors);
    one(&draft.methods, errors);
    one(&draft.substrates, errors);
    one(&draft.matrices, errors);
    one(&draft.containers, errors);
    one(&draft.climates, errors);
    one(&draft.packing, errors);
    one(&draft.places, errors);
    one(&draft.cautions, errors);
    one(&draft.advice, errors);
    one(&draft.checklists, errors);
}

fn said<T: Entry>(entry: &Placed<'_, T>, text: &str, problem: &str, errors: &mut TradeErrors) {
    if text.trim().is_empty() {
        errors.add(entry.error(problem));
    }
}

/// Every name must be the identifier of an entry; the error points at the line that holds the name. What is disabled may
/// be named: it is passed over.
fn names<T: Entry, U: Entry>(
    entry: &Placed<'_, T>,
    names: &[String],
    known: &Entries<'_, U>,
    what: &str,
    errors: &mut TradeErrors,
) {
    for name in names {
        if !known.knows(name) {
            let problem = format!("there is no {what} \"{name}\"");
            errors.add(entry.error_near(&format!("\"{name}\""), &problem));
        }
    }
}
