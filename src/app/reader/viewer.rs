//! Who reads.

use std::collections::BTreeSet;

use crate::custody::state::Person;
use crate::ids::PersonId;
use crate::people::{Action, Role, permission};

/// Who reads.
#[derive(Clone, Debug, PartialEq)]
pub struct Viewer {
    /// The person; none for whoever runs commands on the folder itself, who sees everything.
    pub person: Option<Person>,
}

impl Viewer {
    /// Whoever runs commands on the folder itself: they have every file of it anyway.
    #[must_use]
    pub fn operator() -> Self {
        Self { person: None }
    }

    /// A person who signed in.
    #[must_use]
    pub fn person(person: Person) -> Self {
        Self {
            person: Some(person),
        }
    }

    /// The person's identifier.
    #[must_use]
    pub fn id(&self) -> Option<PersonId> {
        self.person.as_ref().map(|p| p.id)
    }

    /// The name, as on papers.
    #[must_use]
    pub fn name(&self) -> &str {
        self.person
            .as_ref()
            .map_or("the server's operator", |p| p.name.as_str())
    }

    /// The roles.
    #[must_use]
    pub fn roles(&self) -> BTreeSet<Role> {
        self.person
            .as_ref()
            .map(|p| p.roles.clone())
            .unwrap_or_default()
    }

    /// Whether the permission table lets them do it.
    #[must_use]
    pub fn may(&self, action: Action) -> bool {
        self.person
            .as_ref()
            .is_none_or(|p| p.active && permission::allows(&p.roles, action))
    }
}
