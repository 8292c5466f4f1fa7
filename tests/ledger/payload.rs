//! Fields, their commitments, and the fast reader held against the slow one.

use liftledger::ledger::{
    canonical,
    payload::{self, Fields, PayloadError, Salt},
};
use proptest::prelude::*;
use serde_json::{Value, json};

fn fields(value: Value) -> Fields {
    match value {
        Value::Object(map) => map.into_iter().collect(),
        _ => panic!("not an object"),
    }
}

#[test]
fn values_the_ledger_takes() {
    let good = json!({
        "text": "Tiller, \"starboard\"\n\u{1f}ä",
        "count": -9_007_199_254_740_991_i64,
        "most": 9_007_199_254_740_991_i64,
        "yes": true,
        "none": [],
        "steps": [{"kind": "front", "n": [1, 2]}, "x", 3],
        "table": {"a b": 1, "z": {"deep": "enough"}},
    });
    assert_eq!(payload::check(&fields(good)), Ok(()));
}

#[test]
fn values_the_ledger_refuses() {
    let long = "k".repeat(129);
    for value in [
        json!(null),
        json!([null]),
        json!(1.5),
        json!(1e300),
        json!(9_007_199_254_740_992_u64),
        json!(-9_007_199_254_740_992_i64),
        json!([[[["four deep"]]]]),
        json!({"": 1}),
        json!({"a\"b": 1}),
        json!({"ä": 1}),
        json!({long: 1}),
    ] {
        let text = value.to_string();
        let refused = payload::check(&Fields::from([("x".to_owned(), value)]));
        assert_eq!(refused, Err(PayloadError::Value("x".to_owned())), "{text}");
    }
}

#[test]
fn names_and_bounds() {
    for name in ["", "A", "1a", "_a", "a-b", "ä", "a b", &"a".repeat(65)] {
        let refused = payload::check(&Fields::from([(name.to_owned(), json!(1))]));
        assert_eq!(refused, Err(PayloadError::Name(name.to_owned())));
    }
    let many = |n: usize| {
        (0..n)
            .map(|i| (format!("f{i:03}"), json!(i)))
            .collect::<Fields>()
    };
    assert_eq!(payload::check(&many(200)), Ok(()));
    assert_eq!(payload::check(&many(201)), Err(PayloadError::TooManyFields));
    let bytes = payload::to_bytes(&many(201));
    assert_eq!(payload::parse(&bytes), Err(PayloadError::TooManyFields));
    // `{"x":""}` has 8 bytes around its text.
    let large = |n: usize| Fields::from([("x".to_owned(), json!("x".repeat(n)))]);
    assert_eq!(payload::check(&large(payload::MAX_BYTES - 8)), Ok(()));
    assert_eq!(
        payload::check(&large(payload::MAX_BYTES - 7)),
        Err(PayloadError::TooLarge)
    );
    let bytes = payload::to_bytes(&large(payload::MAX_BYTES - 7));
    assert_eq!(
        payload::root_of_bytes(&Salt([0; 16]), &bytes),
        Err(PayloadError::TooLarge)
    );
}

#[test]
fn a_withheld_field_leaves_the_root_as_it_is() {
    let salt = Salt([7; 16]);
    let all = fields(json!({"a": 1, "b": "x", "c": [true]}));
    let root = payload::payload_root(&salt, &all);
    let mut digests = payload::field_digests(&salt, &all);
    assert_eq!(payload::root_of(&digests), root);
    let shown = payload::field_digest(&payload::field_salt(&salt, "b"), &json!("x"));
    assert_eq!(digests["b"], shown);
    let other = payload::field_digest(&payload::field_salt(&salt, "b"), &json!("y"));
    digests.insert("b".to_owned(), other);
    assert_ne!(payload::root_of(&digests), root);
}

#[test]
fn a_salt_is_not_shown_in_logs() {
    assert!(!format!("{:?}", Salt([0xab; 16])).contains("ab"));
}

fn value() -> impl Strategy<Value = Value> {
    let text = proptest::collection::vec(any::<char>(), 0..6).prop_map(String::from_iter);
    let key = proptest::collection::vec(proptest::char::range(' ', 'ÿ'), 0..4)
        .prop_map(String::from_iter);
    let leaf = prop_oneof![
        4 => text.prop_map(Value::from),
        3 => any::<i32>().prop_map(Value::from),
        1 => any::<i64>().prop_map(Value::from),
        2 => any::<bool>().prop_map(Value::from),
        1 => Just(Value::Null),
        1 => any::<f32>().prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 16, 4, move |inner| {
        prop_oneof![
            proptest::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            proptest::collection::btree_map(key.clone(), inner, 0..4)
                .prop_map(|map| Value::Object(map.into_iter().collect())),
        ]
    })
}

fn name() -> impl Strategy<Value = String> {
    proptest::collection::vec(proptest::sample::select(b"abz_09A-".as_slice()), 0..4)
        .prop_map(|bytes| String::from_utf8(bytes).unwrap())
}

/// The slow way: read a tree, write it again, compare, then ask whether the ledger takes such fields.
fn slow(bytes: &[u8]) -> Option<Fields> {
    match canonical::parse_strict(bytes).ok()? {
        Value::Object(map) => Some(map.into_iter().collect()).filter(|f| payload::check(f).is_ok()),
        _ => None,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(1500) })]

    /// Whatever is written, and whatever becomes of it by small damage, both readers agree.
    #[test]
    fn the_fast_reader_agrees_with_the_slow_one(
        map in proptest::collection::btree_map(name(), value(), 0..4),
        damage in proptest::collection::vec((0_usize..3, any::<u16>(), 0_usize..24), 0..3),
    ) {
        const PIECES: &[u8; 24] = b"\"\\{}[]:,-0159.eEntfu az\n";
        let mut bytes = payload::to_bytes(&map);
        for (how, at, piece) in damage {
            let at = usize::from(at) % (bytes.len() + 1);
            match how {
                0 => bytes.insert(at, PIECES[piece]),
                1 if at < bytes.len() => bytes[at] = PIECES[piece],
                _ if at < bytes.len() => drop(bytes.remove(at)),
                _ => {}
            }
        }
        let salt = Salt([3; 16]);
        match slow(&bytes) {
            Some(fields) => {
                prop_assert_eq!(payload::parse(&bytes), Ok(fields.clone()));
                prop_assert_eq!(payload::root_of_bytes(&salt, &bytes), Ok(payload::payload_root(&salt, &fields)));
            }
            None => {
                prop_assert!(payload::parse(&bytes).is_err(), "{}", String::from_utf8_lossy(&bytes));
                prop_assert!(payload::root_of_bytes(&salt, &bytes).is_err());
            }
        }
    }

    /// Escapes are where two spellings of one text are nearest.
    #[test]
    fn escapes(body in proptest::collection::vec(proptest::sample::select(
        [r"\n", r"\u000a", r"\u000A", r"\u001f", r"\u001F", r"\u0000", r"\u0008", r"\u000b", r"\u007f", "\u{7f}", r"\/",
         r"\\", "\\\"", "\\", "u", "0", "ä", "\n", r"\b", r"\ud83d\ude02", "😂", r"\u0020"].as_slice()), 0..5)) {
        let bytes = format!("{{\"x\":\"{}\"}}", body.concat()).into_bytes();
        let fast = payload::parse(&bytes).ok();
        prop_assert_eq!(fast, slow(&bytes), "{}", String::from_utf8_lossy(&bytes));
    }
}
