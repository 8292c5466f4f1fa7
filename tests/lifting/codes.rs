//! The codes of ANSI/NIST-ITL: all there and none invented. Typed again here from the standard's 2011 edition as NIST's
//! public biometric library reads it.

use super::rules;
use liftledger::lifting::{MarkTone, SubstrateClass};

/// Field 9.352, 48 codes.
const LPM: &str = "12I ADX ALS AMB AY7 BAR BLE BLP BPA BRY CBB CDS COG DAB DFO FLP GEN GRP GTV HCA IOD ISR LAS LCV LIQ LQD MBD MBP MGP MPD MRM NIN OTH PDV R6G RAM RUV SAO SDB SGF SPR SSP SVN TEC TID VIS WHP ZIC";
/// Field 9.355, 22 codes.
const LSB: &str = "1A 1B 1C 1D 2A 2B 2C 2D 2E 2F 2G 2H 2I 3A 3B 3C 3D 3E 3F 3G 4A 4B";

#[test]
fn methods() {
    let rules = rules();
    let ids: Vec<&str> = rules.methods().iter().map(|m| m.id.as_str()).collect();
    assert_eq!(ids, LPM.split(' ').collect::<Vec<_>>());
    assert_eq!(ids.len(), 48);
    // Tones: common practice, no source.
    for (code, tone) in [
        ("BLP", MarkTone::Dark),
        ("WHP", MarkTone::Light),
        ("GRP", MarkTone::Light),
        ("MGP", MarkTone::Light),
        ("MBP", MarkTone::Dark),
        ("FLP", MarkTone::Fluorescent),
        ("NIN", MarkTone::Dark),
        ("SGF", MarkTone::Light),
        ("DFO", MarkTone::Fluorescent),
        ("VIS", MarkTone::Varies),
    ] {
        assert_eq!(rules.method(code).unwrap().tone, tone, "{code}");
    }
    for m in rules.methods() {
        assert!(!m.name.is_empty());
        // Looking is the one method that brings no hazard of its own.
        assert_eq!(m.cautions.is_empty(), m.id == "VIS", "{}", m.id);
    }
    assert!(
        rules
            .cautions_of(&rules.method("SGF").unwrap().cautions)
            .iter()
            .any(|c| c.id == "cyanoacrylate")
    );
    assert!(
        rules
            .cautions_of(&rules.method("BLP").unwrap().cautions)
            .iter()
            .any(|c| c.id == "powder")
    );
    assert!(rules.method("XXX").is_none());
}

#[test]
fn substrates() {
    let rules = rules();
    let ids: Vec<&str> = rules.substrates().iter().map(|m| m.id.as_str()).collect();
    assert_eq!(ids, LSB.split(' ').collect::<Vec<_>>());
    assert_eq!(ids.len(), 22);
    for s in rules.substrates() {
        let class = match &s.id[..1] {
            "1" => SubstrateClass::Porous,
            "2" => SubstrateClass::Nonporous,
            "3" => SubstrateClass::Semiporous,
            _ => SubstrateClass::Other,
        };
        assert_eq!(s.class, class, "{}", s.id);
    }
    assert_eq!(rules.substrate("2B").unwrap().name, "Glass");
    assert!(rules.substrate("5A").is_none());
}

#[test]
fn matrices() {
    let rules = rules();
    let ids: Vec<&str> = rules.matrices().iter().map(|m| m.id.as_str()).collect();
    assert_eq!(ids, ["1", "2", "3", "4", "5", "6", "7", "8", "9", "10"]);
    assert_eq!(rules.matrix("2").unwrap().name, "Blood");
    assert!(
        rules
            .matrices()
            .iter()
            .all(|m| m.biological == (m.id == "2"))
    );
}
