//! Gaps and overlaps held against an independent library of intervals.

use serde_json::{Value, json};

use super::histories::{ALL, zero};
use super::libraries::ask;

/// Source: PyPI portion (intervals and their arithmetic). The twenty histories made by hand, in seconds: how long nobody has it, how
/// long two have it, and from when to when.
#[test]
fn gaps_and_overlaps_are_those_of_portion() {
    let script = "
import json, sys, portion as P
def atoms(i): return [[a.lower, a.upper] for a in i if not a.empty and a.upper > a.lower]
def length(i): return sum(b - a for a, b in atoms(i))
for history in json.load(sys.stdin):
    spans = [P.closedopen(a, b) for a, b in history]
    union = P.empty()
    twice = P.empty()
    for s in spans:
        twice |= union & s
        union |= s
    gap = P.closedopen(union.lower, union.upper) - union
    print(json.dumps({'nobody': length(gap), 'several': length(twice), 'gaps': atoms(gap), 'twice': atoms(twice)}))
";
    let input: Vec<Vec<[i64; 2]>> = ALL
        .iter()
        .map(|h| h.stretches.iter().map(|s| [s.1, s.2]).collect())
        .collect();
    let answer = ask(script, json!(input).to_string().as_bytes());
    let answer = String::from_utf8(answer).unwrap();
    let theirs: Vec<Value> = answer
        .lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    assert_eq!(theirs.len(), 20);
    for (history, theirs) in ALL.iter().zip(&theirs) {
        let told = history.told();
        let says = format!("{:?}", history.stretches);
        // Counted by hand, ours, and the library's: all three.
        assert_eq!(theirs["nobody"], json!(history.by_nobody), "{says}");
        assert_eq!(theirs["several"], json!(history.by_several), "{says}");
        assert_eq!(
            theirs["nobody"],
            json!(told.continuity.unaccounted_seconds),
            "{says}"
        );
        assert_eq!(
            theirs["several"],
            json!(told.continuity.claimed_twice_seconds),
            "{says}"
        );
        let of = |code: &str| -> Vec<[i64; 2]> {
            let of = told.findings.iter().filter(|f| f.code == code);
            let mut parts: Vec<[i64; 2]> = of
                .map(|f| [f.from, f.to].map(|t| (t.unwrap().to_utc() - zero()).num_seconds()))
                .collect();
            parts.sort_unstable();
            // What touches or overlaps is one stretch.
            let mut joined: Vec<[i64; 2]> = Vec::new();
            for part in parts {
                match joined.last_mut() {
                    Some(last) if part[0] <= last[1] => last[1] = last[1].max(part[1]),
                    _ => joined.push(part),
                }
            }
            joined
        };
        assert_eq!(theirs["gaps"], json!(of("gap")), "{says}");
        assert_eq!(theirs["twice"], json!(of("overlap")), "{says}");
    }
}
