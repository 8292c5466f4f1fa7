//! What is wrong with the data of the trade rules, and where.

use std::fmt;

/// The most that is reported at once.
pub const MAX_ERRORS: usize = 200;

/// One thing that is wrong with the data.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}, line {line}: {problem}")]
pub struct TradeError {
    /// The file.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
    /// The problem.
    pub problem: String,
}

/// Everything that is wrong with the data, at most [`MAX_ERRORS`]; never empty where it is an error.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TradeErrors(pub Vec<TradeError>);

impl TradeErrors {
    pub(super) fn add(&mut self, error: TradeError) {
        if self.0.len() < MAX_ERRORS {
            self.0.push(error);
        }
    }

    /// The first of them.
    #[must_use]
    pub fn first(&self) -> Option<&TradeError> {
        self.0.first()
    }
}

/// The first, and how many more there are.
impl fmt::Display for TradeErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(first) = self.first() else {
            return f.write_str("nothing is wrong");
        };
        write!(f, "{first}")?;
        match self.0.len() - 1 {
            0 => Ok(()),
            more => write!(
                f,
                " (and {more} more; liftledger rules check tells them all)"
            ),
        }
    }
}

impl std::error::Error for TradeErrors {}
