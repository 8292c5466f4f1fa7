//! Ten thousand random surfaces and kits: always an answer or a named reason, and never a medium that a rule excludes. The
//! rules are read here a second time, from the data itself and by other code.

use liftledger::lifting::advise::{NothingCode, Question, Seen, advise};
use liftledger::trade::SourceFiles;
use serde_json::{Value, json};
use toml::Table;

use super::rules;
use super::surfaces::question;

const MANY: u64 = 10_000;

fn words(value: &toml::Value) -> Vec<&str> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_str().unwrap())
        .collect()
}

/// What a rule's conditions say of these facts; `facts` has the word of everything that is known.
fn holds(when: &Table, facts: &Value) -> bool {
    when.iter().all(|(name, wanted)| {
        let known = |field: &str| facts[field].as_str();
        let among = |field: &str| known(field).is_some_and(|w| words(wanted).contains(&w));
        let methods: Vec<&str> = facts["methods"]
            .as_array()
            .unwrap()
            .iter()
            .map(|m| m.as_str().unwrap())
            .collect();
        match name.as_str() {
            "kinds" => among("kind"),
            "depths" => among("depth"),
            "textures" => among("texture"),
            "curvatures" => among("curvature"),
            "porosity" => among("porosity"),
            "tones" => among("tone"),
            "textures_not" => !among("texture"),
            "texture_known" => wanted.as_bool() == Some(known("texture").is_some()),
            "methods_any" => words(wanted).iter().any(|m| methods.contains(m)),
            "methods_none" => !words(wanted).iter().any(|m| methods.contains(m)),
            "developed" => wanted.as_bool() == Some(!methods.is_empty()),
            "recess" | "wet" | "fragile" | "collectable" | "dusty" => {
                wanted.as_bool() == facts[name].as_bool()
            }
            "air_below" => facts["air_c"]
                .as_i64()
                .is_some_and(|a| a < wanted.as_integer().unwrap()),
            "air_above" => facts["air_c"]
                .as_i64()
                .is_some_and(|a| a > wanted.as_integer().unwrap()),
            other => panic!("a condition nobody reads: {other}"),
        }
    })
}

fn facts(question: &Question, seen: &Seen<'_>) -> Value {
    json!({
        "kind": seen.kind, "depth": seen.depth, "texture": question.surface.texture,
        "curvature": question.surface.curvature, "porosity": seen.porosity, "tone": seen.tone,
        "methods": question.mark.methods, "wet": question.surface.wet, "fragile": question.surface.fragile,
        "collectable": question.surface.collectable, "air_c": question.air_c,
        "recess": question.surface.recess || question.surface.texture.is_some_and(|t| json!(t) == "recessed"),
        "dusty": question.surface.dusty || question.surface.texture.is_some_and(|t| json!(t) == "dusty"),
    })
}

/// Whether the data excludes a medium.
fn excluded(data: &Table, medium: &Table, facts: &Value) -> bool {
    let (id, form) = (
        medium["id"].as_str().unwrap(),
        medium["form"].as_str().unwrap(),
    );
    let by_rule = data["advice"].as_array().unwrap().iter().any(|rule| {
        let names =
            |list: &str, word: &str| rule.get(list).is_some_and(|l| words(l).contains(&word));
        let none = Table::new();
        let when = rule.get("when").map_or(&none, |w| w.as_table().unwrap());
        rule["effect"].as_str() == Some("exclude")
            && (names("media", id) || names("forms", form))
            && holds(when, facts)
    });
    let by_itself = |list: &str, fact: &str| {
        let unsuited = medium.get("unsuited").and_then(|u| u.get(list));
        facts[fact]
            .as_str()
            .is_some_and(|f| unsuited.is_some_and(|u| words(u).contains(&f)))
    };
    by_rule || by_itself("textures", "texture") || by_itself("curvatures", "curvature")
}

#[test]
fn always_an_answer_or_a_named_reason_and_never_what_a_rule_excludes() {
    let rules = rules();
    let knowledge = rules.knowledge();
    let files = SourceFiles::embedded();
    let data: Table = files.advice.text.parse().unwrap();
    let media: Table = files.media.text.parse().unwrap();
    let media: Vec<&Table> = media["medium"]
        .as_array()
        .unwrap()
        .iter()
        .map(|m| m.as_table().unwrap())
        .filter(|m| m["form"].as_str() != Some("image"))
        .collect();
    let (mut answers, mut reasons) = (0, std::collections::BTreeMap::new());
    for number in 0..MANY {
        let asked = question(&rules, number);
        asked.check(&knowledge).unwrap();
        let advice = advise(&knowledge, &asked);
        let seen = Seen::of(&knowledge, &asked);
        let facts = facts(&asked, &seen);
        // Every medium stands on one of the two lists, and the photograph comes before both.
        assert_eq!(
            advice.ranked.len() + advice.excluded.len(),
            media.len(),
            "question {number}"
        );
        assert!(!advice.first.is_empty());
        assert_eq!(
            advice.ranked.is_empty(),
            advice.nothing.is_some(),
            "question {number}"
        );
        for medium in &media {
            let id = medium["id"].as_str().unwrap();
            let by_data = excluded(&data, medium, &facts);
            if advice.place(id).is_some() {
                assert!(!by_data, "question {number}: {id} is excluded and advised");
                let lots = &advice.ranked[advice.place(id).unwrap() - 1].lots;
                if asked.kit.is_some() && medium["form"].as_str() != Some("object") {
                    assert!(
                        !lots.is_empty(),
                        "question {number}: {id} is not in the kit"
                    );
                }
                let on = asked.date;
                assert!(
                    lots.iter()
                        .all(|l| on.is_none_or(|on| l.expires_on.is_none_or(|e| e >= on)))
                );
            } else {
                let why = &advice.exclusion(id).unwrap().reasons;
                assert!(!why.is_empty());
                assert!(
                    why.iter()
                        .all(|w| !w.sentence.is_empty() && !w.source.is_empty())
                );
                let by_kit = why.iter().any(|w| w.rule.starts_with("kit-"));
                assert!(
                    by_data || by_kit,
                    "question {number}: {id} is excluded by nothing"
                );
            }
        }
        assert!(advice.ranked.windows(2).all(|w| w[0].score >= w[1].score));
        match advice.nothing {
            None => answers += 1,
            Some(nothing) => {
                assert!(nothing.next.starts_with("Photograph it"));
                *reasons.entry(format!("{:?}", nothing.code)).or_insert(0) += 1;
                if nothing.code == NothingCode::WetSurface {
                    assert!(asked.surface.wet);
                }
            }
        }
    }
    // The questions reach both sides, and every reason there is.
    assert!(answers > 1_000, "{answers}");
    assert_eq!(reasons.len(), 5, "{reasons:?}");
}
