//! Who did what with which item, as JSON-LD in the terms of the open CASE and UCO ontologies.
//!
//! Made from the lines of the bundle alone, so that it says nothing that is withheld there. Each item and package is an
//! object with a provenance record under its exhibit number; each event is an investigative action on these records.
//!
//! The ontologies want identifiers to end in a UUID of the versions 0 to 5, and the ledger's own are of version 7. So each
//! name here ends in a UUID of version 5 (RFC 9562, 5.5) made of the name with the ledger's own identifier, in the
//! namespace of URLs: `kb:event-…` of event E is made of `http://ledger.invalid/kb/event-E`. The same bundle gives the same
//! names, and whoever has the ledger's identifier can make them. The ledger's identifiers stand in the descriptions.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Value, json};
use uuid::Uuid;

use crate::ids::Subject;
use crate::ledger::event::Header;
use crate::ledger::export::{Line, Shown};

/// What all names here begin with.
const KB: &str = "http://ledger.invalid/kb/";
/// The name of something: what it is, and the ledger's identifier of it.
fn name(what: &str, id: &str) -> String {
    let of = format!("{KB}{what}-{id}");
    let id = Uuid::new_v5(&Uuid::NAMESPACE_URL, of.as_bytes());
    format!("kb:{what}-{id}")
}

/// The prefixes of the ontologies' own terms.
fn context() -> Value {
    json!({
        "kb": KB,
        "case-investigation": "https://ontology.caseontology.org/case/investigation/",
        "uco-action": "https://ontology.unifiedcyberontology.org/uco/action/",
        "uco-core": "https://ontology.unifiedcyberontology.org/uco/core/",
        "uco-identity": "https://ontology.unifiedcyberontology.org/uco/identity/",
        "xsd": "http://www.w3.org/2001/XMLSchema#"
    })
}

fn reference(id: &str) -> Value {
    json!({ "@id": id })
}

/// The fields that are shown.
fn shown<'a>(line: &'a Line, name: &str) -> Option<&'a Value> {
    line.payload.fields().get(name)
}

/// The document. `number` is the case's number, `act` says in words what a kind of event did.
#[must_use]
pub fn provenance(number: &str, lines: &[(Header, Line)], act: impl Fn(&str) -> String) -> Value {
    let mut people: BTreeMap<String, String> = BTreeMap::new();
    let mut numbers: BTreeMap<Subject, (u64, String)> = BTreeMap::new();
    let mut things: BTreeSet<Subject> = BTreeSet::new();
    for (header, line) in lines {
        if let Some(actor) = header.actor {
            let name = shown(line, "by")
                .and_then(Value::as_str)
                .unwrap_or(match line.payload {
                    Shown::Expunged { .. } => "expunged by order",
                    _ => "withheld",
                });
            people.insert(actor.to_string(), name.to_owned());
        }
        for touch in &header.touches {
            if matches!(touch.subject, Subject::Item(_) | Subject::Package(_)) {
                things.insert(touch.subject);
            }
        }
        let made = match header.kind.as_str() {
            "item.recovered" => shown(line, "item")
                .and_then(Value::as_str)
                .map(|id| (format!("item:{id}"), "description")),
            "package.made" => shown(line, "package")
                .and_then(Value::as_str)
                .map(|id| (format!("package:{id}"), "container")),
            _ => None,
        };
        if let Some((subject, words)) = made
            && let Ok(subject) = subject.parse::<Subject>()
            && let Some(n) = shown(line, "number").and_then(Value::as_u64)
        {
            let words = shown(line, words)
                .and_then(Value::as_str)
                .unwrap_or("withheld")
                .to_owned();
            numbers.insert(subject, (n, words));
        }
    }
    let mut graph = Vec::new();
    for (id, shown_as) in &people {
        graph.push(json!({
            "@id": name("person", id),
            "@type": "uco-identity:Person",
            "uco-core:name": shown_as,
            "uco-core:description": format!("person {id} of the ledger")
        }));
    }
    for subject in &things {
        let (exhibit, words) = match (subject, numbers.get(subject)) {
            (Subject::Package(_), Some((n, words))) => (format!("{number} P{n}"), words.clone()),
            (_, Some((n, words))) => (format!("{number}/{n}"), words.clone()),
            (_, None) => (
                number.to_owned(),
                String::from("not described in this bundle"),
            ),
        };
        graph.push(json!({
            "@id": thing(*subject),
            "@type": "uco-core:UcoObject",
            "uco-core:name": exhibit,
            "uco-core:description": format!("{} {} of the ledger", subject.kind(), subject.uuid())
        }));
        graph.push(json!({
            "@id": record(*subject),
            "@type": "case-investigation:ProvenanceRecord",
            "uco-core:description": words,
            "case-investigation:exhibitNumber": exhibit,
            "uco-core:object": reference(&thing(*subject))
        }));
    }
    for (header, _) in lines {
        let mut action = json!({
            "@id": name("event", &header.id.to_string()),
            "@type": "case-investigation:InvestigativeAction",
            "uco-core:name": act(&header.kind),
            "uco-core:description": format!("event {} of the ledger, {}, {}", header.seq, header.kind, header.id),
            "uco-action:startTime": {"@type": "xsd:dateTime", "@value": header.claimed_at}
        });
        if let Some(actor) = header.actor {
            action["uco-action:performer"] = reference(&name("person", &actor.to_string()));
        }
        let objects: Vec<Value> = header
            .touches
            .iter()
            .filter(|t| things.contains(&t.subject))
            .map(|t| reference(&record(t.subject)))
            .collect();
        if !objects.is_empty() {
            action["uco-action:object"] = Value::Array(objects);
        }
        graph.push(action);
    }
    json!({ "@context": context(), "@graph": graph })
}

fn thing(subject: Subject) -> String {
    name(subject.kind(), &subject.uuid().to_string())
}

fn record(subject: Subject) -> String {
    name("provenance", &subject.uuid().to_string())
}
