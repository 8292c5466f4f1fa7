//! The data files: those compiled into the program, and an agency's own.

/// The largest data file, bytes.
pub const MAX_FILE: usize = 1 << 20;

/// One data file: its name and its text.
#[derive(Clone, Copy, Debug)]
pub struct SourceFile<'a> {
    /// The name, for messages and for the version.
    pub name: &'a str,
    /// The text, TOML.
    pub text: &'a str,
}

impl SourceFile<'_> {
    /// The line, from 1, on which this byte stands.
    pub(super) fn line_of(&self, offset: usize) -> usize {
        let before = self.text.bytes().take(offset);
        before.filter(|b| *b == b'\n').count() + 1
    }
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
    /// Rules of advice, and where cautions stand among the steps of a medium.
    pub advice: SourceFile<'a>,
}

macro_rules! embedded {
    ($name:literal) => {
        SourceFile {
            name: concat!("seed/trade/", $name),
            text: include_str!(concat!("../../seed/trade/", $name)),
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
            advice: embedded!("advice.toml"),
        }
    }
}

impl<'a> SourceFiles<'a> {
    /// All files in a fixed order. A new file goes to the end.
    pub(super) fn all(&self) -> Vec<SourceFile<'a>> {
        let Self {
            cautions,
            media,
            methods,
            substrates,
            matrices,
            containers,
            climate,
            keeping,
            advice,
        } = *self;
        vec![
            cautions, media, methods, substrates, matrices, containers, climate, keeping, advice,
        ]
    }
}
