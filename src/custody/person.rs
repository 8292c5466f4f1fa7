//! People with accounts. Passwords are not in the ledger.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Key, Person, State};
use crate::ids::{PersonId, Subject};
use crate::people::Role;

/// Add a person.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AddPerson {
    /// The name they sign in with: 2 to 32 of a-z, 0-9, dot, hyphen.
    pub user_name: String,
    /// Full name.
    pub name: String,
    /// Staff or badge number.
    pub number: String,
    /// Roles, at least one.
    pub roles: BTreeSet<Role>,
}

/// Give and take roles: the whole set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetRoles {
    /// Who.
    pub person: PersonId,
    /// Roles, at least one.
    pub roles: BTreeSet<Role>,
}

/// Switch an account off or on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetActive {
    /// Who.
    pub person: PersonId,
    /// On or off.
    pub active: bool,
    /// Why.
    pub reason: String,
}

/// A person was added.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PersonAdded {
    /// Who.
    pub person: PersonId,
    /// The name they sign in with.
    pub user_name: String,
    /// Full name.
    pub name: String,
    /// Staff or badge number.
    pub number: String,
    /// Roles.
    pub roles: BTreeSet<Role>,
}

/// Roles were set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RolesSet {
    /// Who.
    pub person: PersonId,
    /// Roles now.
    pub roles: BTreeSet<Role>,
}

/// An account was switched off or on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ActiveSet {
    /// Who.
    pub person: PersonId,
    /// On or off.
    pub active: bool,
    /// Why.
    pub reason: String,
}

fn some_roles(roles: &BTreeSet<Role>) -> Result<(), Refusal> {
    if roles.is_empty() {
        return Err(Refusal::new(
            Rule::BadValue,
            "A person needs at least one role.",
            "Choose a role.",
        )
        .on("roles"));
    }
    // The administrator keeps accounts and must not also reach evidence.
    if roles.contains(&Role::Administrator) && roles.len() > 1 {
        return Err(Refusal::new(
            Rule::BadValue,
            "An administrator has no access to evidence and so no other role.",
            "Give the other roles to another account.",
        )
        .on("roles"));
    }
    Ok(())
}

pub(super) fn add(ctx: &Context<'_>, x: &AddPerson) -> Result<Vec<Draft>, Refusal> {
    text("name", &x.name, 100, true)?;
    text("number", &x.number, 40, true)?;
    let n = x.user_name.len();
    let ok = x
        .user_name
        .bytes()
        .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'.' || b == b'-');
    if !(2..=32).contains(&n) || !ok {
        return Err(Refusal::new(
            Rule::BadText,
            "A user name has 2 to 32 characters: a to z, 0 to 9, dot, hyphen.",
            "Choose another user name.",
        )
        .on("user_name"));
    }
    some_roles(&x.roles)?;
    if ctx.state.user_names.contains_key(&x.user_name) {
        return Err(Refusal::new(
            Rule::Taken,
            format!("The user name {} is in use.", x.user_name),
            "Choose another user name.",
        )
        .on("user_name"));
    }
    let person = PersonId(ctx.command.id.0);
    Ok(ctx.draft(
        None,
        vec![Subject::Person(person)],
        Fact::PersonAdded(PersonAdded {
            person,
            user_name: x.user_name.clone(),
            name: x.name.clone(),
            number: x.number.clone(),
            roles: x.roles.clone(),
        }),
    ))
}

pub(super) fn set_roles(ctx: &Context<'_>, x: &SetRoles) -> Result<Vec<Draft>, Refusal> {
    some_roles(&x.roles)?;
    if ctx.actor.id == Some(x.person) {
        return Err(Refusal::new(
            Rule::BadValue,
            "Nobody changes their own roles.",
            "Ask another administrator.",
        )
        .on("person"));
    }
    let fact = Fact::RolesSet(RolesSet {
        person: x.person,
        roles: x.roles.clone(),
    });
    Ok(ctx.draft(None, vec![Subject::Person(x.person)], fact))
}

pub(super) fn set_active(ctx: &Context<'_>, x: &SetActive) -> Result<Vec<Draft>, Refusal> {
    let person = ctx
        .state
        .people
        .get(&x.person)
        .ok_or_else(|| not_found("person"))?;
    text("reason", &x.reason, 500, true)?;
    if ctx.actor.id == Some(x.person) {
        return Err(Refusal::new(
            Rule::BadValue,
            "Nobody switches their own account off.",
            "Ask another administrator.",
        )
        .on("person"));
    }
    if person.active == x.active {
        let now = if x.active { "on" } else { "off" };
        return Err(Refusal::new(
            Rule::BadValue,
            format!("The account is already {now}."),
            "Nothing is left to do.",
        )
        .on("active"));
    }
    let fact = Fact::ActiveSet(ActiveSet {
        person: x.person,
        active: x.active,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(None, vec![Subject::Person(x.person)], fact))
}

pub(super) fn added(state: &mut State, x: &PersonAdded) -> Result<(), Misfit> {
    state.user_names.insert(x.user_name.clone(), x.person);
    state.known.insert(Key::UserName(x.user_name.clone()));
    state.known.insert(Key::Subject(Subject::Person(x.person)));
    state.people.insert(
        x.person,
        Person {
            id: x.person,
            user_name: x.user_name.clone(),
            name: x.name.clone(),
            number: x.number.clone(),
            roles: x.roles.clone(),
            active: true,
            kit: Vec::new(),
        },
    );
    Ok(())
}

pub(super) fn roles_set(state: &mut State, x: &RolesSet, meta: &Meta) -> Result<(), Misfit> {
    let person = state
        .people
        .get_mut(&x.person)
        .ok_or_else(|| meta.misfit("no such person"))?;
    person.roles.clone_from(&x.roles);
    Ok(())
}

pub(super) fn active_set(state: &mut State, x: &ActiveSet, meta: &Meta) -> Result<(), Misfit> {
    let person = state
        .people
        .get_mut(&x.person)
        .ok_or_else(|| meta.misfit("no such person"))?;
    person.active = x.active;
    Ok(())
}
