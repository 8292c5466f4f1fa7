//! The trade rules: loaded from `seed/trade`, with an agency's own file laid over, and checked.
//!
//! The program's files are compiled in, so that it needs nothing beside it; the agency's is `rules.toml` in its data folder
//! (`overlay.rs` says what may stand there). The types and what is computed from them live
//! in [`crate::lifting`] and [`crate::keeping`]. Every entry has an `id` and a `source`; an unknown key, a missing or blank
//! source, a repeated identifier, a reference to something that is not there and a rule that can never matter are errors
//! that name the file and the line.
//!
//! Reading order: `source` (files), `kind` (what there is), `draft` (entries as read), `overlay`, `check`, `reach`,
//! [`catalogue`].

pub mod catalogue;
mod check;
mod draft;
mod error;
mod kind;
mod overlay;
mod reach;
pub mod retention;
mod source;

use std::collections::BTreeSet;
use std::path::Path;

use sha2::{Digest as _, Sha256};

pub use error::{MAX_ERRORS, TradeError, TradeErrors};
pub use kind::{Kind, NotAKind};
pub use source::{MAX_FILE, SourceFile, SourceFiles};

use crate::{
    keeping::{Climate, Container, KeepingRules},
    lifting::advise::{AdviceRules, Knowledge},
    lifting::{Caution, Matrix, Medium, Method, Sheet, Substrate, Thickness, Window, window},
};

/// The agency's own file in a data folder.
pub const OVERLAY: &str = "rules.toml";
/// The version of the rules' shape; what follows the plus sign in [`TradeRules::version`] is the data itself.
const SHAPE: &str = "1.0";

/// The trade rules. Lists keep the order of the files; what an agency adds comes last.
#[derive(Clone, Debug)]
pub struct TradeRules {
    version: String,
    agency: Option<String>,
    of_agency: BTreeSet<(Kind, String)>,
    off: Vec<(Kind, String, String)>,
    media: Vec<Medium>,
    off_media: Vec<Medium>,
    methods: Vec<Method>,
    off_methods: Vec<Method>,
    substrates: Vec<Substrate>,
    matrices: Vec<Matrix>,
    sheets: Vec<Sheet>,
    keeping: KeepingRules,
    advice: AdviceRules,
    schedule: retention::Schedule,
}

fn values<T>(list: Vec<draft::Placed<'_, T>>) -> Vec<T> {
    list.into_iter().map(|p| p.value).collect()
}

impl TradeRules {
    /// Loads the rules compiled into the program.
    ///
    /// # Errors
    /// The first thing wrong with the data. A build whose tests pass has none.
    pub fn load_embedded() -> Result<Self, TradeError> {
        Self::load(&SourceFiles::embedded())
    }

    /// Loads the rules from these files.
    ///
    /// # Errors
    /// The first thing wrong with the data, with file and line.
    pub fn load(files: &SourceFiles<'_>) -> Result<Self, TradeError> {
        Self::read(files, None).map_err(|all| {
            all.first().cloned().unwrap_or_else(|| TradeError {
                file: String::new(),
                line: 1,
                problem: all.to_string(),
            })
        })
    }

    /// Loads the program's rules with the agency's file of this data folder laid over, where there is one.
    ///
    /// # Errors
    /// Everything wrong with the file, or that it cannot be read.
    pub fn of_folder(folder: &Path) -> Result<Self, TradeErrors> {
        let path = folder.join(OVERLAY);
        let rules = if path.exists() {
            Self::with_overlay(&path)?
        } else {
            Self::read(&SourceFiles::embedded(), None)?
        };
        let schedule = retention::Schedule::of_folder(folder).map_err(|e| TradeErrors(vec![e]))?;
        Ok(rules.with_schedule(schedule))
    }

    /// Loads the program's rules with this file laid over.
    ///
    /// # Errors
    /// Everything wrong with the file, or that it cannot be read.
    pub fn with_overlay(path: &Path) -> Result<Self, TradeErrors> {
        let name = path.display().to_string();
        let fail = |problem: String| {
            TradeErrors(vec![TradeError {
                file: name.clone(),
                line: 1,
                problem,
            }])
        };
        let size = std::fs::metadata(path)
            .map_err(|e| fail(format!("the file cannot be read: {e}")))?
            .len();
        if size > MAX_FILE as u64 {
            return Err(fail(format!("the file is larger than {MAX_FILE} bytes")));
        }
        let text = std::fs::read_to_string(path)
            .map_err(|e| fail(format!("the file cannot be read: {e}")))?;
        let file = SourceFile {
            name: &name,
            text: &text,
        };
        Self::read(&SourceFiles::embedded(), Some(file))
    }

    /// Loads the rules from these files, the agency's own laid over.
    ///
    /// # Errors
    /// Everything that is wrong, in the order of files and lines.
    pub fn read<'a>(
        files: &SourceFiles<'a>,
        overlay: Option<SourceFile<'a>>,
    ) -> Result<Self, TradeErrors> {
        let mut errors = TradeErrors::default();
        let all = files.all();
        let mut draft = draft::built_in(&all, &mut errors);
        let agency = overlay.map(|file| overlay::over(&mut draft, file, &mut errors));
        check::all(&draft, &mut errors);
        // What cannot be read would make much look out of reach that is not.
        if !draft.has_broken() {
            reach::all(&draft, &mut errors);
        }
        if !errors.0.is_empty() {
            let place = |e: &TradeError| all.iter().position(|f| f.name == e.file);
            errors
                .0
                .sort_by_key(|e| (place(e).unwrap_or(usize::MAX), e.line));
            return Err(errors);
        }
        // Where an agency has written a medium anew, the program's checklist may not fit its steps.
        let rewritten = |id: &str| {
            let mut media = draft.media.list.iter();
            media.any(|m| m.agency && m.value.id == id)
        };
        let checklists = std::mem::take(&mut draft.checklists.list);
        let checklists = checklists
            .into_iter()
            .filter(|c| c.agency || !rewritten(&c.value.id));
        let advice = AdviceRules {
            checklists: checklists.map(|c| c.value).collect(),
            rules: draft.advice.list.iter().map(|r| r.value.clone()).collect(),
        };
        Ok(Self {
            version: version(&all, overlay),
            advice,
            agency,
            of_agency: draft.of_agency(),
            off: draft.off(),
            off_media: values(draft.media.disabled.into_iter().map(|o| o.entry).collect()),
            media: values(draft.media.list),
            off_methods: values(
                draft
                    .methods
                    .disabled
                    .into_iter()
                    .map(|o| o.entry)
                    .collect(),
            ),
            methods: values(draft.methods.list),
            substrates: values(draft.substrates.list),
            matrices: values(draft.matrices.list),
            sheets: values(draft.sheets.list),
            keeping: KeepingRules {
                containers: values(draft.containers.list),
                climates: values(draft.climates.list),
                packing: values(draft.packing.list),
                places: values(draft.places.list),
                cautions: values(draft.cautions.list),
            },
            schedule: retention::Schedule::default(),
        })
    }

    /// The version: shape, plus the first twelve hex digits of SHA-256 over the files that came with the program; where an
    /// agency's file lies over them, a point and the same of that file.
    #[must_use]
    pub fn version(&self) -> &str {
        &self.version
    }

    /// The agency's retention schedule; empty where it has given none.
    #[must_use]
    pub fn schedule(&self) -> &retention::Schedule {
        &self.schedule
    }

    /// The same rules with this retention schedule.
    #[must_use]
    pub fn with_schedule(mut self, schedule: retention::Schedule) -> Self {
        self.schedule = schedule;
        self
    }

    /// The recovery media.
    #[must_use]
    pub fn media(&self) -> &[Medium] {
        &self.media
    }

    /// The development methods.
    #[must_use]
    pub fn methods(&self) -> &[Method] {
        &self.methods
    }

    /// The substrates.
    #[must_use]
    pub fn substrates(&self) -> &[Substrate] {
        &self.substrates
    }

    /// The matrices.
    #[must_use]
    pub fn matrices(&self) -> &[Matrix] {
        &self.matrices
    }

    /// The containers.
    #[must_use]
    pub fn containers(&self) -> &[Container] {
        &self.keeping.containers
    }

    /// The climate classes.
    #[must_use]
    pub fn climates(&self) -> &[Climate] {
        &self.keeping.climates
    }

    /// The cautions.
    #[must_use]
    pub fn cautions(&self) -> &[Caution] {
        &self.keeping.cautions
    }

    /// The rules of keeping, for [`crate::keeping`].
    #[must_use]
    pub fn keeping(&self) -> &KeepingRules {
        &self.keeping
    }

    /// The rules of advice.
    #[must_use]
    pub fn advice(&self) -> &AdviceRules {
        &self.advice
    }

    /// What advice is computed from.
    #[must_use]
    pub fn knowledge(&self) -> Knowledge<'_> {
        Knowledge {
            media: &self.media,
            methods: &self.methods,
            substrates: &self.substrates,
            cautions: &self.keeping.cautions,
            advice: &self.advice,
        }
    }

    /// The makers' sheets of set times that the agency entered.
    #[must_use]
    pub fn sheets(&self) -> &[Sheet] {
        &self.sheets
    }

    /// How long a medium sets, by the agency's sheet where it entered one; none for a medium with no setting time.
    #[must_use]
    pub fn set_window(
        &self,
        medium: &Medium,
        air_c: Option<i16>,
        thickness: Option<Thickness>,
    ) -> Option<Window> {
        let sheet = self.sheets.iter().find(|s| s.medium == medium.id);
        window(medium, sheet, air_c, thickness)
    }

    /// A recovery medium by its identifier.
    #[must_use]
    pub fn medium(&self, id: &str) -> Option<&Medium> {
        self.media.iter().find(|e| e.id == id)
    }

    /// A recovery medium by its identifier, also one that the agency has disabled since: for what is on the record.
    #[must_use]
    pub fn medium_ever(&self, id: &str) -> Option<&Medium> {
        self.medium(id)
            .or_else(|| self.off_media.iter().find(|e| e.id == id))
    }

    /// A development method by its code, also one that the agency has disabled since.
    #[must_use]
    pub fn method_ever(&self, id: &str) -> Option<&Method> {
        self.method(id)
            .or_else(|| self.off_methods.iter().find(|e| e.id == id))
    }

    /// Who stands behind the agency's own file, where one lies over the program's rules.
    #[must_use]
    pub fn agency(&self) -> Option<&str> {
        self.agency.as_deref()
    }

    /// Whether the entry stands in the agency's own file.
    #[must_use]
    pub fn is_of_agency(&self, kind: Kind, id: &str) -> bool {
        self.of_agency.contains(&(kind, id.to_owned()))
    }

    /// What the agency has switched off: kind, identifier, and the source that says why.
    #[must_use]
    pub fn off(&self) -> &[(Kind, String, String)] {
        &self.off
    }

    /// A development method by its code.
    #[must_use]
    pub fn method(&self, id: &str) -> Option<&Method> {
        self.methods.iter().find(|e| e.id == id)
    }

    /// A substrate by its code.
    #[must_use]
    pub fn substrate(&self, id: &str) -> Option<&Substrate> {
        self.substrates.iter().find(|e| e.id == id)
    }

    /// A matrix by its code.
    #[must_use]
    pub fn matrix(&self, id: &str) -> Option<&Matrix> {
        self.matrices.iter().find(|e| e.id == id)
    }

    /// A container by its identifier.
    #[must_use]
    pub fn container(&self, id: &str) -> Option<&Container> {
        self.keeping.container(id)
    }

    /// A climate class by its identifier.
    #[must_use]
    pub fn climate(&self, id: &str) -> Option<&Climate> {
        self.keeping.climate(id)
    }

    /// A caution by its identifier.
    #[must_use]
    pub fn caution(&self, id: &str) -> Option<&Caution> {
        self.keeping.cautions.iter().find(|e| e.id == id)
    }

    /// The cautions that a medium or a method names, in the order in which it names them.
    #[must_use]
    pub fn cautions_of(&self, ids: &[String]) -> Vec<&Caution> {
        ids.iter().filter_map(|id| self.caution(id)).collect()
    }
}

fn version(files: &[SourceFile<'_>], overlay: Option<SourceFile<'_>>) -> String {
    fn digest<'a>(texts: impl Iterator<Item = &'a str>) -> String {
        let mut hash = Sha256::new();
        for text in texts {
            // The length goes first, so that text moved from one file to the next is another version.
            hash.update((text.len() as u64).to_be_bytes());
            hash.update(text.as_bytes());
        }
        let digest = hex::encode(hash.finalize());
        digest.get(..12).unwrap_or(&digest).to_owned()
    }
    let own = digest(files.iter().map(|f| f.text));
    match overlay {
        None => format!("{SHAPE}+{own}"),
        Some(file) => format!("{SHAPE}+{own}.{}", digest(std::iter::once(file.text))),
    }
}
