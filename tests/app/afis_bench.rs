//! The demo with a picture of its own to hand off, for the tests here and for those with outside programs.
#![allow(dead_code)]

use std::path::Path;
use std::sync::Arc;

use liftledger::app::demo::{self, Demo};
use liftledger::app::house::House;
use liftledger::app::{RecordError, Recorded, Sent, Viewer};
use liftledger::custody::copy::AddCopy;
use liftledger::custody::image::{AddImage, SetScale};
use liftledger::custody::{Act, Command, Signed};
use liftledger::ids::{Digest, Subject};
use liftledger::imaging::derive::derive;
use liftledger::imaging::recipe::{Op, Recipe};
use liftledger::imaging::resolution::Scale;
use liftledger::ledger::event::Source;

pub struct Bench {
    pub house: Arc<House>,
    pub demo: Demo,
}

/// A picture that shows left from right and light from dark, in which no two pixels of a row are alike.
pub fn picture(seed: u8) -> ::image::GrayImage {
    ::image::GrayImage::from_fn(200, 120, |x, y| {
        let v = (x + 3 * y + u32::from(seed) * 7) % 251;
        ::image::Luma([v as u8])
    })
}

pub fn png(picture: &::image::GrayImage) -> Vec<u8> {
    let mut out = std::io::Cursor::new(Vec::new());
    picture
        .write_to(&mut out, ::image::ImageFormat::Png)
        .unwrap();
    out.into_inner()
}

impl Bench {
    /// Lets the writer finish, as a server does that ends.
    pub async fn close(self) {
        Arc::into_inner(self.house).unwrap().close().await;
    }

    pub async fn begin(folder: &Path) -> Self {
        let (house, demo) = demo::begin(folder).await.unwrap();
        Self {
            house: Arc::new(house),
            demo,
        }
    }

    pub async fn viewer(&self, user_name: &str) -> Viewer {
        let id = self.demo.people[user_name].id;
        Viewer::person(self.house.person(id).await.unwrap().unwrap())
    }

    pub fn item(&self, name: &str) -> Subject {
        Subject::Item(self.demo.items[name])
    }

    pub fn mark(&self, name: &str) -> Subject {
        Subject::Mark(self.demo.marks[name])
    }

    pub async fn act(&self, user_name: &str, act: Act) -> Result<Recorded, RecordError> {
        let sent = Sent {
            person: Some(self.demo.people[user_name].id),
            signed: Signed::Password,
            beside: None,
            source: Source::Desk,
            command: Command::now(act),
        };
        self.house.recorder.record(sent).await
    }

    /// Keeps a file and puts it on the record.
    pub async fn add(
        &self,
        of: Subject,
        name: &str,
        kind: &str,
        file: &[u8],
        view: &[&str],
    ) -> Digest {
        let kept = self.house.originals.keep(file).unwrap();
        let add = AddImage {
            of,
            digest: kept.digest,
            name: name.into(),
            media_type: kind.into(),
            bytes: kept.bytes,
            width: None,
            height: None,
            view: view.iter().map(|s| (*s).to_owned()).collect(),
            says: Default::default(),
        };
        self.act("soren", Act::AddImage(add)).await.unwrap();
        kept.digest
    }

    /// Takes the density as a flatbed states it.
    pub async fn scale(&self, of: Subject, digest: Digest, ppi: u32) {
        let scale = SetScale {
            of,
            digest,
            scale: Some(Scale::Scanner { ppi }),
            reason: String::new(),
        };
        self.act("soren", Act::SetScale(scale)).await.unwrap();
    }

    /// Makes a working copy and puts it on the record.
    pub async fn copy(
        &self,
        of: Subject,
        digest: Digest,
        ppi: Option<u32>,
        ops: Vec<Op>,
    ) -> Digest {
        let recipe = Recipe::new(ops);
        let scale = ppi.map(|ppi| Scale::Scanner { ppi });
        let original = self.house.originals.read(digest).unwrap();
        let copy = derive(&original, &recipe, scale.as_ref()).unwrap();
        let kept = self.house.originals.keep(&copy.png).unwrap();
        let add = AddCopy {
            of,
            digest,
            copy: kept.digest,
            recipe,
            scale,
            bytes: kept.bytes,
            width: copy.width,
            height: copy.height,
            grey: copy.grey,
            ppi: copy.ppi,
            pixels: copy.pixels,
        };
        self.act("soren", Act::AddCopy(add)).await.unwrap();
        kept.digest
    }
}
