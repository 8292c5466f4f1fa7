//! `liftledger afis`: hands an image off as a latent print transaction, on the record.

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context as _, bail};
use clap::Args;

use super::{file, name, site::Where};
use crate::app::house::House;
use crate::app::papers::By;
use crate::app::papers::afis::{Asked, HandedOff, Whole, hand_off};
use crate::app::reader::{Reader, Viewer};
use crate::disclosure::itl::{Capture, Edition};
use crate::ids::{Digest, Subject};

/// Hand an image of an item or a mark off to an AFIS: a transaction after ANSI/NIST-ITL. It goes on the record, as made by
/// the server's operator, before it is written.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger afis HR-26-0417 3 --edition 2015 --out item-3.an2 --data ledger
  liftledger afis HR-26-0417 M4 --receiver old-exchange --edition 2011 --out mark-4.an2 --data ledger
  liftledger afis HR-26-0417 3 --list --data ledger

Receivers stand in receivers.toml in the data folder. Nothing is compared here.")]
pub(super) struct Afis {
    /// A case's number or identifier.
    #[arg(value_name = "CASE")]
    case: String,
    /// 3 for item 3, M4 for mark 4 of the case.
    #[arg(value_name = "ITEM")]
    of: String,
    /// 2011, 2013 or 2015. Without it: the receiver's.
    #[arg(long, value_name = "YEAR")]
    edition: Option<Edition>,
    /// The receiver. Without it: the only one there is.
    #[arg(long, value_name = "ID")]
    receiver: Option<String>,
    /// The original that goes as it is, by its SHA-256 or how that begins. Without it and --copy: the newest working copy that
    /// reads direct, or else the newest picture.
    #[arg(long, value_name = "DIGEST", conflicts_with = "copy")]
    image: Option<String>,
    /// The working copy that goes, by its SHA-256 or how that begins.
    #[arg(long, value_name = "DIGEST")]
    copy: Option<String>,
    /// What was imaged: impression, tracing, photo, lift or cast. Without it: what the record says.
    #[arg(long, value_name = "WHAT")]
    capture: Option<Capture>,
    /// Position codes, one to six. Without it: 18, not known.
    #[arg(long, value_name = "CODES", value_delimiter = ',')]
    position: Vec<u8>,
    /// The methods that contributed, at most nine. Without it: every one on record.
    #[arg(long, value_name = "CODES", value_delimiter = ',')]
    methods: Vec<String>,
    /// The matrix, code 1 to 10.
    #[arg(long, value_name = "CODE")]
    matrix: Option<u8>,
    /// A photograph that shows where it was, by its SHA-256 or how that begins.
    #[arg(long, value_name = "DIGEST")]
    context: Option<String>,
    /// Only list what could go, one line each, and hand nothing off.
    #[arg(long)]
    list: bool,
    /// The file to write.
    #[arg(long, value_name = "FILE", required_unless_present = "list")]
    out: Option<PathBuf>,
    /// Write over a file that is there.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    at: Where,
}

/// The only digest of a list that begins so.
fn found(what: &str, begins: &str, all: impl Iterator<Item = Digest>) -> anyhow::Result<Digest> {
    let begins = begins.trim().to_ascii_lowercase();
    if begins.len() < 6 {
        bail!("give at least 6 digits of the {what}'s SHA-256; --list shows them");
    }
    let mut matching: Vec<Digest> = all.filter(|d| d.to_string().starts_with(&begins)).collect();
    matching.dedup();
    match matching.as_slice() {
        [one] => Ok(*one),
        [] => bail!("there is no {what} {begins} here; --list shows what there is"),
        _ => bail!("{begins} begins the SHA-256 of more than one {what}; give more digits"),
    }
}

impl Afis {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        if let (Some(path), false) = (&self.out, self.list) {
            file::free(path, self.force)?;
        }
        super::with_house(&self.at, async |house| {
            let viewer = Viewer::operator();
            let reader = house.reader(&viewer);
            let of = self.subject(&reader).await?;
            let whole = Whole::load(&reader, of).await?;
            if self.list {
                list(house, &whole, out)?;
                return Ok(());
            }
            let done = hand_off(&reader, By::operator(), &self.asked(of, &whole)?).await?;
            self.write(&done, out)
        })?;
        Ok(0)
    }

    async fn subject(&self, reader: &Reader<'_>) -> anyhow::Result<Subject> {
        let text = self.of.trim();
        if let Some(number) = text.strip_prefix(['M', 'm'])
            && let Ok(number) = number.parse::<u32>()
        {
            let case = name::case(reader, &self.case).await?;
            return name::mark(reader, case, number).await;
        }
        let of = name::thing(reader, &format!("{}/{text}", self.case)).await;
        match of.with_context(|| format!("item {text} of case {}", self.case))? {
            of @ Subject::Item(_) => Ok(of),
            _ => bail!("{text} is no item; give its number, or M4 for mark 4"),
        }
    }

    fn asked(&self, of: Subject, whole: &Whole) -> anyhow::Result<Asked> {
        let originals = || whole.images().map(|(_, i)| i.digest);
        let copies = || {
            let images = whole.images();
            images.flat_map(|(_, i)| i.copies.iter().map(|c| c.digest))
        };
        let picture = match (&self.image, &self.copy) {
            (Some(begins), _) => Some(found("picture", begins, originals())?),
            (None, Some(begins)) => Some(found("working copy", begins, copies())?),
            (None, None) => None,
        };
        let context = match &self.context {
            Some(begins) => Some(found("picture", begins, originals())?),
            None => None,
        };
        Ok(Asked {
            picture,
            edition: self.edition,
            receiver: self.receiver.clone(),
            capture: self.capture,
            positions: self.position.clone(),
            methods: (!self.methods.is_empty()).then(|| self.methods.clone()),
            matrix: self.matrix,
            context,
            ..Asked::of(of)
        })
    }

    fn write(&self, done: &HandedOff, out: &mut dyn Write) -> anyhow::Result<()> {
        let Some(path) = &self.out else {
            return Ok(());
        };
        file::write(path, &done.bytes, self.force)?;
        writeln!(
            out,
            "{}: SHA-256 {}, on the record as event {}",
            path.display(),
            done.digest,
            done.recorded.seq
        )?;
        writeln!(out, "{}", done.statement)?;
        for left in &done.left_out {
            writeln!(out, "{left}")?;
        }
        Ok(())
    }
}

fn list(house: &House, whole: &Whole, out: &mut dyn Write) -> anyhow::Result<()> {
    for pick in whole.picks() {
        writeln!(out, "{}  {}", pick.digest(), pick.words())?;
    }
    for r in house.receivers.all() {
        writeln!(
            out,
            "receiver {}  {}, prefers {}",
            r.id,
            r.name,
            r.edition.word()
        )?;
    }
    Ok(())
}
