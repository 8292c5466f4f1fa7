//! An item or a package, read.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::custody::state::{Custody, Item, Package};
use crate::ids::{CaseId, Code, Piece};

/// A piece with its record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Thing {
    /// An item.
    Item(Box<Item>),
    /// A package.
    Package(Box<Package>),
}

impl Thing {
    /// Which piece.
    #[must_use]
    pub fn piece(&self) -> Piece {
        match self {
            Self::Item(x) => Piece::Item(x.id),
            Self::Package(x) => Piece::Package(x.id),
        }
    }

    /// Its case.
    #[must_use]
    pub fn case(&self) -> CaseId {
        match self {
            Self::Item(x) => x.case,
            Self::Package(x) => x.case,
        }
    }

    /// Where custody stands.
    #[must_use]
    pub fn custody(&self) -> &Custody {
        match self {
            Self::Item(x) => &x.custody,
            Self::Package(x) => &x.custody,
        }
    }

    /// The code on its label.
    #[must_use]
    pub fn code(&self) -> &Code {
        match self {
            Self::Item(x) => &x.code,
            Self::Package(x) => &x.code,
        }
    }

    /// How people call it: `item 3`, `package P2`.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::Item(x) => format!("item {}", x.number),
            Self::Package(x) => format!("package P{}", x.number),
        }
    }
}
