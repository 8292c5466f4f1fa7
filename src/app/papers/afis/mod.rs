//! An image handed off as a latent print transaction: chosen, encoded without loss, written for a receiver, checked, put on
//! the record, and only then handed out.
//!
//! The reversal that the file states is computed as everywhere: from the view steps of the picture and the steps of the
//! working copy's recipe.
//!
//! Reading order: [`choice`], `picture` (from bytes to pixels), `parts`, [`hand_off`], [`past()`].

pub mod choice;
mod parts;
mod past;
mod picture;

use chrono::Utc;

pub use choice::{Pick, Whole};
pub use past::{PastHandOff, past};

use self::choice::word;
use self::parts::no;
use self::picture::encode;
use super::{By, PaperError, record};
use crate::app::reader::Reader;
use crate::app::record::Recorded;
use crate::custody::Act;
use crate::custody::afis::AfisExported;
use crate::disclosure::itl::codes::POSITION_UNKNOWN;
use crate::disclosure::itl::{
    Capture, Density, Edition, Features, Header, ItlRule, Latent, ResolutionMethod, Transaction,
    check, write,
};
use crate::ids::{CommandId, Digest, Subject};
use crate::imaging::resolution::Scale;
use crate::people::Action;

/// What is to be handed off.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asked {
    /// An item or a mark.
    pub of: Subject,
    /// SHA-256 of an original or of a working copy; none takes the first of [`Whole::picks`].
    pub picture: Option<Digest>,
    /// The edition; none takes the receiver's.
    pub edition: Option<Edition>,
    /// The receiver; none takes the only one.
    pub receiver: Option<String>,
    /// What was imaged; none takes what the record says.
    pub capture: Option<Capture>,
    /// Position codes; empty for not known.
    pub positions: Vec<u8>,
    /// The methods that contributed; none takes every one on record.
    pub methods: Option<Vec<String>>,
    /// The matrix, where somebody knows it.
    pub matrix: Option<u8>,
    /// A picture that shows where it was.
    pub context: Option<Digest>,
}

impl Asked {
    /// Of this item or mark, everything else as usual.
    #[must_use]
    pub fn of(of: Subject) -> Self {
        Self {
            of,
            picture: None,
            edition: None,
            receiver: None,
            capture: None,
            positions: Vec::new(),
            methods: None,
            matrix: None,
            context: None,
        }
    }
}

/// A hand-off, on the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HandedOff {
    /// The file.
    pub bytes: Vec<u8>,
    /// A name for it, of letters, digits, hyphens and dots.
    pub file_name: String,
    /// SHA-256, as recorded.
    pub digest: Digest,
    /// What the file states about left and right, and about light and dark.
    pub statement: String,
    /// What could not be stated in it.
    pub left_out: Vec<String>,
    /// The event.
    pub recorded: Recorded,
}

/// Makes the file, records it, and gives it.
///
/// # Errors
/// [`PaperError::Read`] where the viewer may not, [`PaperError::Itl`] for each rule of a hand-off,
/// [`PaperError::Original`] where bytes are missing or altered, [`PaperError::Record`].
pub async fn hand_off(reader: &Reader<'_>, by: By, asked: &Asked) -> Result<HandedOff, PaperError> {
    reader.must(Action::HandOff)?;
    let whole = Whole::load(reader, asked.of).await?;
    let receivers = reader.house().receivers.clone();
    let receiver = parts::receiver(receivers.all(), asked.receiver.as_deref())?;
    parts::friction_ridge(&whole.mark)?;
    let pick = parts::pick(&whole, asked.picture)?;
    let methods = parts::methods(&whole, asked.methods.as_ref())?;
    let density = pick.density();
    if receiver.density_required && density == Density::UNKNOWN {
        return Err(no(
            ItlRule::DensityUnknown,
            format!("{} needs the density, and it is not known.", receiver.name),
            "Measure the scale in the picture, or choose a working copy of known density.",
        )
        .into());
    }
    let agency = reader.house().agency().await?;
    let bytes = reader.house().originals.read_aside(pick.digest()).await?;
    let (coding, original) = (receiver.coding, pick.copy.is_none());
    let encoded = tokio::task::spawn_blocking(move || encode(bytes, coding, original))
        .await
        .map_err(|e| PaperError::Inner(e.to_string()))??;
    let id = CommandId::new();
    let now = Utc::now();
    let (lateral, tone) = pick.reading();
    let capture = asked.capture.unwrap_or_else(|| whole.capture(pick.shown));
    let edition = asked.edition.unwrap_or(receiver.edition);
    let noted = &whole.mark.noted;
    let features = Features {
        lateral,
        tone,
        methods,
        substrate: Some((noted.substrate.clone(), noted.object.clone())),
        matrix: asked.matrix,
        assessment: parts::assessment(reader, pick.image, &agency.name).await?,
    };
    let transaction = Transaction {
        edition,
        header: Header {
            destination: receiver.destination.clone(),
            originating: receiver.originating.clone(),
            transaction: receiver.transaction.clone(),
            control: id.to_string(),
            date: now.with_timezone(&agency.zone).date_naive(),
            moment: now,
            priority: receiver.priority,
            domain: receiver.domain.clone(),
        },
        descriptive: parts::descriptive(receiver, &whole, reader.viewer().name(), &agency.name)?,
        latent: Latent {
            capture,
            positions: if asked.positions.is_empty() {
                vec![POSITION_UNKNOWN]
            } else {
                asked.positions.clone()
            },
            captured: pick.image.taken_at.date_naive(),
            width: encoded.width,
            height: encoded.height,
            density,
            resolution: pick.scale().map(|s| match s {
                Scale::Scanner { .. } => ResolutionMethod::Flatbed,
                Scale::Picked { .. } => ResolutionMethod::Ruler,
            }),
            coding: receiver.coding,
            bits: encoded.bits,
            comment: Some(parts::comment(&whole, &pick, capture, lateral)),
            operations: parts::operations(&pick, &encoded, now),
            agency: Some(agency.name.clone()),
            data: encoded.data,
        },
        features: Some(features),
        context: parts::context_picture(reader, &whole, asked.context).await?,
    };
    let (written, digest) = tokio::task::spawn_blocking(move || {
        let written = write(&transaction)?;
        // Nothing is handed out that the checker does not take.
        if let Err(faults) = check(&written.bytes) {
            let said: Vec<String> = faults.iter().take(5).map(ToString::to_string).collect();
            return Err(PaperError::Inner(said.join("; ")));
        }
        let digest = Digest::of(&written.bytes);
        Ok((written, digest))
    })
    .await
    .map_err(|e| PaperError::Inner(e.to_string()))??;
    let statement = parts::statement(lateral, tone, written.left_out.is_empty());
    let act = Act::AfisExported(AfisExported {
        of: asked.of,
        shown: pick.shown,
        image: pick.image.digest,
        copy: pick.copy.map(|c| c.digest),
        context: asked.context,
        edition: edition.word().into(),
        receiver: receiver.id.clone(),
        receiver_name: receiver.name.clone(),
        control: id.to_string(),
        digest,
        bytes: written.bytes.len() as u64,
        reads: word(lateral).into(),
        statement: statement.clone(),
        left_out: written.left_out.clone(),
    });
    let recorded = record(reader, by, id, act).await?;
    Ok(HandedOff {
        file_name: file_name(&whole, edition),
        bytes: written.bytes,
        digest,
        statement,
        left_out: written.left_out,
        recorded,
    })
}

fn file_name(whole: &Whole, edition: Edition) -> String {
    let name = crate::app::papers::file_name(&[&whole.number(), "latent", edition.word()]);
    format!("{}.an2", name.trim_end_matches(".pdf"))
}
