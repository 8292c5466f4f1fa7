//! Random questions, each from its number: for the property test and for the measure.

use chrono::NaiveDate;
use liftledger::lifting::advise::{KitLot, MarkAsked, Question, Surface};
use liftledger::lifting::{Curvature, MarkDepth, MarkKind, MarkTone, SubstrateClass, Texture};
use liftledger::trade::TradeRules;

pub const TEXTURES: [Texture; 12] = [
    Texture::Smooth,
    Texture::FineGrain,
    Texture::MouldedGrain,
    Texture::Ribbed,
    Texture::Dimpled,
    Texture::Rough,
    Texture::BareWood,
    Texture::Absorbent,
    Texture::Sticky,
    Texture::Dusty,
    Texture::Impressed,
    Texture::Recessed,
];
pub const CURVATURES: [Curvature; 4] = [
    Curvature::Flat,
    Curvature::Gentle,
    Curvature::Tight,
    Curvature::Compound,
];

/// SplitMix64 (Steele, Lea and Flood 2014): small, and the same everywhere.
pub struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }

    fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    fn of<T: Clone>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())].clone()
    }

    fn maybe<T: Clone>(&mut self, list: &[T]) -> Option<T> {
        (!self.one_in(5)).then(|| self.of(list))
    }
}

pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// The question of this number.
pub fn question(rules: &TradeRules, number: u64) -> Question {
    let mut r = Random(number);
    let substrates: Vec<String> = rules.substrates().iter().map(|s| s.id.clone()).collect();
    let methods: Vec<String> = rules.methods().iter().map(|m| m.id.clone()).collect();
    let media: Vec<String> = rules.media().iter().map(|m| m.id.clone()).collect();
    let dates = ["2025-01-01", "2026-03-13", "2026-03-14", "2028-01-01"].map(day);
    let surface = Surface {
        texture: r.maybe(&TEXTURES),
        curvature: r.maybe(&CURVATURES),
        recess: r.one_in(6),
        substrate: r.maybe(&substrates).unwrap_or_default(),
        porosity: r.maybe(&[
            SubstrateClass::Porous,
            SubstrateClass::Nonporous,
            SubstrateClass::Semiporous,
            SubstrateClass::Other,
        ]),
        wet: r.one_in(6),
        fragile: r.one_in(6),
        collectable: r.one_in(3),
        dusty: r.one_in(6),
    };
    let mark = MarkAsked {
        kind: r.of(&[
            MarkKind::FrictionRidge,
            MarkKind::Toolmark,
            MarkKind::Footwear,
            MarkKind::Other,
        ]),
        depth: r.maybe(&[MarkDepth::OnSurface, MarkDepth::Pressed, MarkDepth::Raised]),
        methods: (0..r.below(4)).map(|_| r.of(&methods)).collect(),
        tone: if r.one_in(3) {
            r.maybe(&[
                MarkTone::Dark,
                MarkTone::Light,
                MarkTone::Fluorescent,
                MarkTone::Varies,
            ])
        } else {
            None
        },
    };
    let kit = (!r.one_in(4)).then(|| {
        (0..r.below(8))
            .map(|n| KitLot {
                medium: r.of(&media),
                lot: format!("L-{n}"),
                opened_on: None,
                expires_on: r.maybe(&dates),
            })
            .collect()
    });
    Question {
        surface,
        mark,
        kit,
        date: (!r.one_in(5)).then(|| day("2026-03-14")),
        air_c: r.maybe(&[-5, 4, 5, 20, 36]),
    }
}
