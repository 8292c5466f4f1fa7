//! Cases and their scenes, who is assigned, and whether a case is restricted.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Case, Key, Scene, State};
use crate::ids::{CaseId, PersonId, SceneId, Subject};

/// How many scenes a case may have.
pub const MAX_SCENES: usize = 200;

/// Open a case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenCase {
    /// The agency's case number.
    pub number: String,
    /// Title.
    pub title: String,
    /// Offence.
    #[serde(default)]
    pub offence: String,
}

/// Open a scene.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenScene {
    /// Case.
    pub case: CaseId,
    /// Short name.
    pub name: String,
    /// Address or description.
    pub address: String,
}

/// Assign a person to a case, or end it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Assign {
    /// Case.
    pub case: CaseId,
    /// Who.
    pub person: PersonId,
    /// Assigned, or no longer.
    pub assigned: bool,
}

/// Restrict a case, or lift the restriction.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Restrict {
    /// Case.
    pub case: CaseId,
    /// Restricted, or open to all with the role.
    pub restricted: bool,
    /// Why.
    pub reason: String,
}

/// A case was opened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CaseOpened {
    /// Case.
    pub case: CaseId,
    /// Number.
    pub number: String,
    /// Title.
    pub title: String,
    /// Offence.
    pub offence: String,
}

/// A scene was opened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SceneOpened {
    /// Case.
    pub case: CaseId,
    /// Scene.
    pub scene: SceneId,
    /// Short name.
    pub name: String,
    /// Address.
    pub address: String,
}

/// An assignment was made or ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Assigned {
    /// Case.
    pub case: CaseId,
    /// Who.
    pub person: PersonId,
    /// Made or ended.
    pub assigned: bool,
}

/// A restriction was set or lifted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Restricted {
    /// Case.
    pub case: CaseId,
    /// Set or lifted.
    pub restricted: bool,
    /// Why.
    pub reason: String,
}

pub(super) fn open(ctx: &Context<'_>, x: &OpenCase) -> Result<Vec<Draft>, Refusal> {
    text("number", &x.number, 40, true)?;
    text("title", &x.title, 200, true)?;
    text("offence", &x.offence, 200, false)?;
    if ctx.state.case_numbers.contains_key(&x.number) {
        return Err(Refusal::new(
            Rule::Taken,
            format!("Case number {} is in use.", x.number),
            "Open that case, or give another number.",
        )
        .on("number"));
    }
    let case = CaseId(ctx.command.id.0);
    let fact = Fact::CaseOpened(CaseOpened {
        case,
        number: x.number.clone(),
        title: x.title.clone(),
        offence: x.offence.clone(),
    });
    Ok(ctx.draft(Some(case), vec![Subject::Case(case)], fact))
}

pub(super) fn open_scene(ctx: &Context<'_>, x: &OpenScene) -> Result<Vec<Draft>, Refusal> {
    let case = ctx.case(x.case)?;
    text("name", &x.name, 100, true)?;
    text("address", &x.address, 300, true)?;
    if case.scenes.len() >= MAX_SCENES {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("The case has {MAX_SCENES} scenes already."),
            "Open another case.",
        ));
    }
    let fact = Fact::SceneOpened(SceneOpened {
        case: x.case,
        scene: SceneId(ctx.command.id.0),
        name: x.name.clone(),
        address: x.address.clone(),
    });
    Ok(ctx.draft(Some(x.case), vec![Subject::Case(x.case)], fact))
}

pub(super) fn assign(ctx: &Context<'_>, x: &Assign) -> Result<Vec<Draft>, Refusal> {
    let case = ctx
        .state
        .cases
        .get(&x.case)
        .ok_or_else(|| not_found("case"))?;
    let person = ctx
        .state
        .people
        .get(&x.person)
        .ok_or_else(|| not_found("person"))?;
    if case.assigned.contains(&x.person) == x.assigned {
        let now = if x.assigned {
            "already assigned"
        } else {
            "not assigned"
        };
        return Err(Refusal::new(
            Rule::BadValue,
            format!("{} is {now}.", person.name),
            "Nothing is left to do.",
        )
        .on("person"));
    }
    let fact = Fact::Assigned(Assigned {
        case: x.case,
        person: x.person,
        assigned: x.assigned,
    });
    Ok(ctx.draft(Some(x.case), vec![Subject::Case(x.case)], fact))
}

pub(super) fn restrict(ctx: &Context<'_>, x: &Restrict) -> Result<Vec<Draft>, Refusal> {
    let case = ctx.case(x.case)?;
    text("reason", &x.reason, 500, true)?;
    if case.restricted == x.restricted {
        let now = if x.restricted {
            "already restricted"
        } else {
            "not restricted"
        };
        return Err(Refusal::new(
            Rule::BadValue,
            format!("The case is {now}."),
            "Nothing is left to do.",
        )
        .on("restricted"));
    }
    let fact = Fact::Restricted(Restricted {
        case: x.case,
        restricted: x.restricted,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(Some(x.case), vec![Subject::Case(x.case)], fact))
}

pub(super) fn opened(state: &mut State, x: &CaseOpened, meta: &Meta) -> Result<(), Misfit> {
    state.case_numbers.insert(x.number.clone(), x.case);
    state.known.insert(Key::CaseNumber(x.number.clone()));
    state.known.insert(Key::Subject(Subject::Case(x.case)));
    state.cases.insert(
        x.case,
        Case {
            id: x.case,
            number: x.number.clone(),
            title: x.title.clone(),
            offence: x.offence.clone(),
            opened_by: meta.actor,
            opened_at: meta.at,
            restricted: false,
            assigned: meta.actor.into_iter().collect::<BTreeSet<_>>(),
            scenes: Vec::new(),
            marks: 0,
            items: 0,
            packages: 0,
            holds: Vec::new(),
            retention: None,
            exhibits: Default::default(),
            sheets: Vec::new(),
            expungements: Vec::new(),
            expunged: None,
        },
    );
    Ok(())
}

fn case_mut<'a>(state: &'a mut State, id: CaseId, meta: &Meta) -> Result<&'a mut Case, Misfit> {
    state
        .cases
        .get_mut(&id)
        .ok_or_else(|| meta.misfit("no such case"))
}

pub(super) fn scene_opened(state: &mut State, x: &SceneOpened, meta: &Meta) -> Result<(), Misfit> {
    let scene = Scene {
        id: x.scene,
        name: x.name.clone(),
        address: x.address.clone(),
    };
    case_mut(state, x.case, meta)?.scenes.push(scene);
    Ok(())
}

pub(super) fn assigned(state: &mut State, x: &Assigned, meta: &Meta) -> Result<(), Misfit> {
    let case = case_mut(state, x.case, meta)?;
    if x.assigned {
        case.assigned.insert(x.person);
    } else {
        case.assigned.remove(&x.person);
    }
    Ok(())
}

pub(super) fn restricted(state: &mut State, x: &Restricted, meta: &Meta) -> Result<(), Misfit> {
    let case = case_mut(state, x.case, meta)?;
    case.restricted = x.restricted;
    // Whoever restricts a case must be able to lift the restriction again.
    case.assigned.extend(meta.actor);
    Ok(())
}
