//! Loads the trade rules from the data in `seed/trade`.
//!
//! The files are compiled in, so that the program needs nothing beside it. This module only parses and cross-checks:
//! the types and what is computed from them live in [`crate::lifting`] and [`crate::keeping`]. Every entry has an `id`
//! and a `source`; an unknown key, a missing or blank source, a repeated identifier and a reference to something that
//! is not there are errors that name the file and the line.

use std::ops::Range;

use serde::{Deserialize, de::DeserializeOwned};
use sha2::{Digest as _, Sha256};
use toml::Spanned;

use crate::{
    keeping::{Climate, Container, KeepingRules, NeedKind, PackingRule, PlaceRule},
    lifting::{Caution, Matrix, Medium, Method, Substrate},
};

/// The version of the rules' shape; what follows the plus sign in [`TradeRules::version`] is the data itself.
const SHAPE: &str = "1.0";
/// The largest data file, bytes.
const MAX_FILE: usize = 1 << 20;
/// The most entries of one kind.
const MAX_ENTRIES: usize = 1000;
/// The longest text of an identifier.
const MAX_ID: usize = 60;

/// One data file: its name and its text.
#[derive(Clone, Copy, Debug)]
pub struct SourceFile<'a> {
    /// The name, for messages and for the version.
    pub name: &'a str,
    /// The text, TOML.
    pub text: &'a str,
}

/// The data files, each by what it holds.
#[derive(Clone, Copy, Debug)]
pub struct SourceFiles<'a> {
    /// Cautions.
    pub cautions: SourceFile<'a>,
    /// Recovery media.
    pub media: SourceFile<'a>,
    /// Development methods.
    pub methods: SourceFile<'a>,
    /// Substrates.
    pub substrates: SourceFile<'a>,
    /// Matrices.
    pub matrices: SourceFile<'a>,
    /// Containers.
    pub containers: SourceFile<'a>,
    /// Climate classes.
    pub climate: SourceFile<'a>,
    /// Packing and place rules.
    pub keeping: SourceFile<'a>,
}

macro_rules! embedded {
    ($name:literal) => {
        SourceFile {
            name: concat!("seed/trade/", $name),
            text: include_str!(concat!("../seed/trade/", $name)),
        }
    };
}

impl SourceFiles<'static> {
    /// The files compiled into the program.
    #[must_use]
    pub fn embedded() -> Self {
        Self {
            cautions: embedded!("cautions.toml"),
            media: embedded!("media.toml"),
            methods: embedded!("methods.toml"),
            substrates: embedded!("substrates.toml"),
            matrices: embedded!("matrices.toml"),
            containers: embedded!("containers.toml"),
            climate: embedded!("climate.toml"),
            keeping: embedded!("keeping.toml"),
        }
    }
}

/// What is wrong with the data, and where.
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

/// The trade rules. Lists keep the order of the files.
#[derive(Clone, Debug)]
pub struct TradeRules {
    version: String,
    media: Vec<Medium>,
    methods: Vec<Method>,
    substrates: Vec<Substrate>,
    matrices: Vec<Matrix>,
    keeping: KeepingRules,
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
        let cautions = entries(
            files.cautions,
            parse::<CautionFile>(files.cautions)?.caution,
        )?;
        let media = entries(files.media, parse::<MediaFile>(files.media)?.medium)?;
        let methods = entries(files.methods, parse::<MethodFile>(files.methods)?.method)?;
        let substrates = entries(
            files.substrates,
            parse::<SubstrateFile>(files.substrates)?.substrate,
        )?;
        let matrices = entries(files.matrices, parse::<MatrixFile>(files.matrices)?.matrix)?;
        let containers = entries(
            files.containers,
            parse::<ContainerFile>(files.containers)?.container,
        )?;
        let climates = entries(files.climate, parse::<ClimateFile>(files.climate)?.climate)?;
        let kept = parse::<KeepingFile>(files.keeping)?;
        let packing = entries(files.keeping, kept.packing)?;
        let places = entries(files.keeping, kept.place)?;

        for c in &cautions.list {
            if c.value.defers_to.trim().is_empty() {
                return Err(c.error("a caution names what it defers to"));
            }
        }
        for m in &media.list {
            m.value.check().map_err(|problem| m.error(&problem))?;
            m.all_in(&m.value.cautions, &cautions, "caution")?;
        }
        for m in &methods.list {
            if m.value.tone_source.trim().is_empty() {
                return Err(m.error("the tone names no source"));
            }
            m.all_in(&m.value.cautions, &cautions, "caution")?;
        }
        for c in &climates.list {
            if let (Some(min), Some(max)) = (c.value.min_tenths_c, c.value.max_tenths_c)
                && min > max
            {
                return Err(c.error("the lowest temperature lies above the highest"));
            }
        }
        for r in &packing.list {
            let rule = &r.value;
            r.said(&rule.sentence)?;
            r.all_in(&rule.media, &media, "medium")?;
            r.all_in(&rule.one_of, &containers, "container")?;
            r.all_in(&rule.must_not, &containers, "container")?;
            r.all_in(&rule.cautions, &cautions, "caution")?;
        }
        for r in &places.list {
            let rule = &r.value;
            r.said(&rule.sentence)?;
            r.all_in(&rule.media, &media, "medium")?;
            r.all_in(&rule.containers, &containers, "container")?;
            r.all_in(&rule.climates, &climates, "climate class")?;
            if (rule.need == NeedKind::ClimateOneOf) == rule.climates.is_empty() {
                return Err(r.error("climate classes are named by a rule that asks for one of them, and by no other"));
            }
            if let Some(p) = packing.list.iter().find(|p| p.value.id == rule.id) {
                return Err(r.error(&format!(
                    "the identifier \"{}\" is also that of a packing rule",
                    p.value.id
                )));
            }
        }
        Ok(Self {
            version: version(files),
            media: media.values(),
            methods: methods.values(),
            substrates: substrates.values(),
            matrices: matrices.values(),
            keeping: KeepingRules {
                containers: containers.values(),
                climates: climates.values(),
                packing: packing.values(),
                places: places.values(),
                cautions: cautions.values(),
            },
        })
    }

    /// The version: shape, plus the first twelve hex digits of SHA-256 over all data files.
    #[must_use]
    pub fn version(&self) -> &str {
        &self.version
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

    /// A recovery medium by its identifier.
    #[must_use]
    pub fn medium(&self, id: &str) -> Option<&Medium> {
        self.media.iter().find(|e| e.id == id)
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

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CautionFile {
    caution: Vec<Spanned<Caution>>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MediaFile {
    medium: Vec<Spanned<Medium>>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MethodFile {
    method: Vec<Spanned<Method>>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SubstrateFile {
    substrate: Vec<Spanned<Substrate>>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MatrixFile {
    matrix: Vec<Spanned<Matrix>>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ContainerFile {
    container: Vec<Spanned<Container>>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ClimateFile {
    climate: Vec<Spanned<Climate>>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct KeepingFile {
    packing: Vec<Spanned<PackingRule>>,
    place: Vec<Spanned<PlaceRule>>,
}

/// What every entry has.
trait Entry {
    fn id(&self) -> &str;
    fn source(&self) -> &str;
}

macro_rules! entry {
    ($($kind:ty),+) => {$(
        impl Entry for $kind {
            fn id(&self) -> &str {
                &self.id
            }
            fn source(&self) -> &str {
                &self.source
            }
        }
    )+};
}
entry!(
    Caution,
    Medium,
    Method,
    Substrate,
    Matrix,
    Container,
    Climate,
    PackingRule,
    PlaceRule
);

/// An entry and where it stands.
struct Placed<'a, T> {
    value: T,
    file: SourceFile<'a>,
    span: Range<usize>,
}

impl<T: Entry> Placed<'_, T> {
    fn error(&self, problem: &str) -> TradeError {
        self.error_at(self.span.start, problem)
    }

    fn error_at(&self, offset: usize, problem: &str) -> TradeError {
        TradeError {
            file: self.file.name.to_owned(),
            line: line_of(self.file.text, offset),
            problem: format!("\"{}\": {problem}", self.value.id()),
        }
    }

    fn said(&self, sentence: &str) -> Result<(), TradeError> {
        if sentence.trim().is_empty() {
            Err(self.error("the rule says nothing"))
        } else {
            Ok(())
        }
    }

    /// Every name must be the identifier of an entry; the error points at the line that holds the name.
    fn all_in<U: Entry>(
        &self,
        names: &[String],
        known: &Entries<'_, U>,
        what: &str,
    ) -> Result<(), TradeError> {
        for name in names {
            if !known.list.iter().any(|e| e.value.id() == name) {
                let rest = self.file.text.get(self.span.start..).unwrap_or_default();
                let offset = self.span.start + rest.find(&format!("\"{name}\"")).unwrap_or(0);
                return Err(self.error_at(offset, &format!("there is no {what} \"{name}\"")));
            }
        }
        Ok(())
    }
}

/// The entries of one kind.
struct Entries<'a, T> {
    list: Vec<Placed<'a, T>>,
}

impl<T> Entries<'_, T> {
    fn values(self) -> Vec<T> {
        self.list.into_iter().map(|p| p.value).collect()
    }
}

fn entries<T: Entry>(
    file: SourceFile<'_>,
    raw: Vec<Spanned<T>>,
) -> Result<Entries<'_, T>, TradeError> {
    let whole = |problem: String| TradeError {
        file: file.name.to_owned(),
        line: 1,
        problem,
    };
    if raw.is_empty() {
        return Err(whole("there is no entry".into()));
    }
    if raw.len() > MAX_ENTRIES {
        return Err(whole(format!("there are more than {MAX_ENTRIES} entries")));
    }
    let mut list: Vec<Placed<'_, T>> = Vec::with_capacity(raw.len());
    for spanned in raw {
        let placed = Placed {
            span: spanned.span(),
            value: spanned.into_inner(),
            file,
        };
        let id = placed.value.id();
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-';
        if id.is_empty() || id.len() > MAX_ID || !id.chars().all(plain) {
            return Err(placed.error("an identifier is letters, digits and hyphens"));
        }
        if placed.value.source().trim().is_empty() {
            return Err(placed.error("the source is missing or blank"));
        }
        if list.iter().any(|e| e.value.id() == id) {
            return Err(placed.error("the identifier is there twice"));
        }
        list.push(placed);
    }
    Ok(Entries { list })
}

fn parse<T: DeserializeOwned>(file: SourceFile<'_>) -> Result<T, TradeError> {
    let error = |line, problem| TradeError {
        file: file.name.to_owned(),
        line,
        problem,
    };
    if file.text.len() > MAX_FILE {
        return Err(error(
            1,
            format!("the file is larger than {MAX_FILE} bytes"),
        ));
    }
    toml::from_str(file.text).map_err(|e| {
        let line = e.span().map_or(1, |span| line_of(file.text, span.start));
        error(line, e.message().to_owned())
    })
}

fn line_of(text: &str, offset: usize) -> usize {
    text.bytes().take(offset).filter(|b| *b == b'\n').count() + 1
}

fn version(files: &SourceFiles<'_>) -> String {
    let SourceFiles {
        cautions,
        media,
        methods,
        substrates,
        matrices,
        containers,
        climate,
        keeping,
    } = *files;
    let mut hash = Sha256::new();
    for file in [
        cautions, media, methods, substrates, matrices, containers, climate, keeping,
    ] {
        // The length goes first, so that text moved from one file to the next is another version.
        hash.update((file.text.len() as u64).to_be_bytes());
        hash.update(file.text.as_bytes());
    }
    let digest = hex::encode(hash.finalize());
    format!("{SHAPE}+{}", digest.get(..12).unwrap_or(&digest))
}
