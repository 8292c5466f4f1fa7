//! A data folder from its first administrator to a restart, with the real trade rules.

use liftledger::app::house::{House, HouseError};
use liftledger::app::{RecordError, Sent};
use liftledger::custody::rules::Trade;
use liftledger::custody::{Act, Command, Signed, person};
use liftledger::ledger::event::Source;
use liftledger::people::{Role, password};
use liftledger::trade::TradeRules;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_ledger_begins_with_an_administrator_and_opens_again() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().join("ledger");
    assert!(matches!(
        House::open(&at).await,
        Err(HouseError::NoLedger(_))
    ));
    let house = House::open_or_begin(&at, "ledger.example/harrow-cove")
        .await
        .unwrap();
    let (id, recorded) = house
        .add_administrator("ivo", "Ivo Tarn", "A-001", "slipway lantern 42")
        .await
        .unwrap();
    assert_eq!((recorded.seq, recorded.count), (1, 1));
    let again = house
        .add_administrator("ivo", "Ivo Tarn", "A-001", "slipway lantern 42")
        .await;
    assert!(
        matches!(again, Err(HouseError::Record(RecordError::Refused(r))) if r.code == "already-in-use")
    );
    let weak = house
        .add_administrator("ada", "Ada Quill", "A-002", "short")
        .await;
    assert!(matches!(weak, Err(HouseError::Password(_))));
    let key = house.verifying.to_string();
    house.close().await;

    let house = House::open(&at).await.unwrap();
    assert_eq!(house.verifying.to_string(), key);
    assert_eq!(house.store.head().await.unwrap().size, 1);
    let row = house
        .store
        .credential(&format!("person:{id}"))
        .await
        .unwrap()
        .unwrap();
    assert!(password::verify("slipway lantern 42", Some(&row.phc)));
    // The administrator adds a technician, and may not open a case.
    let add = person::AddPerson {
        user_name: "tess".into(),
        name: "Tess Odell".into(),
        number: "T-014".into(),
        roles: [Role::Technician].into(),
    };
    let command = |act| Command::now(act);
    let sent = |act| Sent {
        person: Some(id),
        signed: Signed::Session,
        beside: None,
        source: Source::Desk,
        command: command(act),
    };
    assert_eq!(
        house
            .recorder
            .record(sent(Act::AddPerson(add)))
            .await
            .unwrap()
            .seq,
        2
    );
    let open = liftledger::custody::case::OpenCase {
        number: "HC-26-0117".into(),
        title: "Boatyard".into(),
        offence: String::new(),
    };
    let refused = house.recorder.record(sent(Act::OpenCase(open))).await;
    assert!(matches!(refused, Err(RecordError::Refused(r)) if r.code == "role-may-not"));
    house.close().await;
}

#[test]
fn the_trade_rules_answer_what_custody_asks() {
    let rules = TradeRules::load_embedded().unwrap();
    assert!(rules.knows_method("BLP") && !rules.knows_method("XXX"));
    assert!(rules.knows_substrate("2B") && !rules.knows_substrate("9Z"));
    let recover = |medium: &str, card: &str| liftledger::custody::item::Recover {
        mark: liftledger::ids::MarkId::new(),
        medium: medium.into(),
        lot: String::new(),
        started_at: chrono::Utc::now().fixed_offset(),
        set_at: None,
        air_c: None,
        card: card.into(),
        description: "a lift".into(),
        wet: false,
        biological: false,
        fragile: false,
        sharp: false,
        from_item: None,
        advice: None,
        size_mm: None,
        thickness: None,
        how_viewed: String::new(),
    };
    let noted = liftledger::custody::mark::MarkNoted {
        mark: liftledger::ids::MarkId::new(),
        case: liftledger::ids::CaseId::new(),
        scene: liftledger::ids::SceneId::new(),
        number: 1,
        mark_kind: liftledger::custody::mark::MarkKind::FrictionRidge,
        object: String::new(),
        exact_place: String::new(),
        up: String::new(),
        substrate: "2B".into(),
        texture: String::new(),
        curvature: String::new(),
        note: String::new(),
    };
    let ask = |medium: &str, card: &str, method: &str| {
        rules
            .recovery(&recover(medium, card), &noted, &[method.to_owned()])
            .unwrap()
    };
    // Common practice, no source: putty is opaque and reads reversed; tape and clear casts are looked through.
    assert_eq!(ask("silicone-putty", "", "BLP").reads, "reversed");
    assert_eq!(ask("clear-pvs", "", "BLP").reads, "direct");
    assert_eq!(ask("thick-pliable-tape", "white", "BLP").reads, "direct");
    assert!(
        ask("thick-pliable-tape", "white", "BLP")
            .warnings
            .is_empty()
    );
    // FBI handbook: the card contrasts with the powder.
    assert_eq!(ask("thick-pliable-tape", "black", "BLP").warnings.len(), 1);
    assert!(!ask("silicone-putty", "", "BLP").packing.is_empty());
    // A lifter is its own ground: dark powder on black gelatin warns, on white it does not (common practice, no source).
    assert_eq!(ask("gelatin-black", "", "BLP").warnings.len(), 1);
    assert!(ask("gelatin-black", "", "WHP").warnings.is_empty());
    assert!(ask("gelatin-white", "", "BLP").warnings.is_empty());
    assert_eq!(ask("rubber-white", "", "FLP").warnings.len(), 1);
    assert!(ask("gelatin-clear", "", "BLP").warnings.is_empty());
    // Looked at in another way than the usual one, it reads the other way round.
    assert!(
        rules.knows_view("clear-pvs", "contact-face") && !rules.knows_view("clear-pvs", "sideways")
    );
    let mut other = recover("clear-pvs", "");
    other.how_viewed = "contact-face".into();
    other.air_c = Some(20);
    other.set_at = Some(other.started_at + chrono::Duration::seconds(140));
    let answer = rules.recovery(&other, &noted, &["BLP".to_owned()]).unwrap();
    assert_eq!(answer.reads, "reversed");
    assert!(
        answer
            .set_window
            .starts_with("Not before 2 min 30 s (our assumption)"),
        "{}",
        answer.set_window
    );
    assert_eq!(answer.warnings.len(), 1, "{:?}", answer.warnings);
    assert!(
        answer.warnings[0].contains("after 2 min, before the 2 min 30 s (our assumption)"),
        "{:?}",
        answer.warnings
    );
    assert!(
        rules
            .recovery(&recover("glue-from-nowhere", ""), &noted, &[])
            .is_none()
    );
    assert_eq!(rules.reading(&["front".into()]).unwrap().0, "direct");
    assert_eq!(
        rules
            .reading(&["mirror".into(), "contact-face".into()])
            .unwrap()
            .0,
        "direct"
    );
    assert_eq!(
        rules.reading(&["through-substrate".into()]).unwrap().0,
        "reversed"
    );
    assert_eq!(
        rules.reading(&["unknown".into(), "flip".into()]).unwrap().0,
        "unknown"
    );
    assert!(rules.reading(&["sideways".into()]).is_none());
}
