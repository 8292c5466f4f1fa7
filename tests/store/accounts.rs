//! Signing in, tokens and settings.

use liftledger::store::{Accounts, CredentialRow, SessionRow, StoreError, TokenRow};

use super::Place;

#[tokio::test]
async fn credentials_settings_and_failures() {
    let s = Place::new().await;
    let store = &s.store;
    assert!(store.credential("person:a").await.unwrap().is_none());
    let mut row = CredentialRow {
        person: "person:a".into(),
        phc: "one".into(),
        changed_at: "2031-05-01T08:00:00Z".into(),
    };
    store.set_credential(row.clone()).await.unwrap();
    row.phc = "two".into();
    store.set_credential(row.clone()).await.unwrap();
    assert_eq!(store.credential("person:a").await.unwrap(), Some(row));

    assert_eq!(store.setting("origin").await.unwrap(), None);
    store.set_setting("origin", "a").await.unwrap();
    store.set_setting("origin", "b").await.unwrap();
    assert_eq!(store.setting("origin").await.unwrap().as_deref(), Some("b"));

    assert_eq!(
        store
            .add_sign_in_failure("mara", "2031-05-01T08:00:00Z")
            .await
            .unwrap(),
        1
    );
    assert_eq!(
        store
            .add_sign_in_failure("mara", "2031-05-01T08:01:00Z")
            .await
            .unwrap(),
        2
    );
    assert_eq!(
        store
            .add_sign_in_failure("jon", "2031-05-01T09:00:00Z")
            .await
            .unwrap(),
        1
    );
    let failures = store.sign_in_failures("mara").await.unwrap().unwrap();
    assert_eq!(
        (failures.count, failures.last_at.as_str()),
        (2, "2031-05-01T08:01:00Z")
    );
    assert_eq!(
        store
            .delete_old_sign_in_failures("2031-05-01T08:30:00Z")
            .await
            .unwrap(),
        1
    );
    assert!(store.sign_in_failures("mara").await.unwrap().is_none());
    store.clear_sign_in_failures("jon").await.unwrap();
    assert!(store.sign_in_failures("jon").await.unwrap().is_none());
}

#[tokio::test]
async fn sessions_open_move_and_end() {
    let s = Place::new().await;
    let store = &s.store;
    for (i, seen) in [
        "2031-05-01T08:00:00Z",
        "2031-05-02T08:00:00Z",
        "2031-05-03T08:00:00Z",
    ]
    .iter()
    .enumerate()
    {
        let row = SessionRow {
            token_hash: vec![i as u8; 32],
            person: "person:a".into(),
            created_at: (*seen).into(),
            seen_at: (*seen).into(),
            theme: None,
        };
        store.create_session(row.clone()).await.unwrap();
        assert_eq!(store.session(&row.token_hash).await.unwrap(), Some(row));
    }
    assert!(
        store
            .touch_session(&[0; 32], "2031-05-03T09:00:00Z")
            .await
            .unwrap()
    );
    assert!(
        !store
            .touch_session(&[9; 32], "2031-05-03T09:00:00Z")
            .await
            .unwrap()
    );
    assert!(
        store
            .set_session_theme(&[0; 32], "dark-room")
            .await
            .unwrap()
    );
    let row = store.session(&[0; 32]).await.unwrap().unwrap();
    assert_eq!(
        (row.seen_at.as_str(), row.theme.as_deref()),
        ("2031-05-03T09:00:00Z", Some("dark-room"))
    );
    // The second was not seen since, the first is seen but old.
    assert_eq!(
        store
            .delete_expired_sessions("2031-05-02T12:00:00Z", "2000-01-01T00:00:00Z")
            .await
            .unwrap(),
        1
    );
    assert!(store.session(&[1; 32]).await.unwrap().is_none());
    assert_eq!(
        store
            .delete_expired_sessions("2000-01-01T00:00:00Z", "2031-05-01T12:00:00Z")
            .await
            .unwrap(),
        1
    );
    assert!(store.session(&[0; 32]).await.unwrap().is_none());
    assert!(store.delete_session(&[2; 32]).await.unwrap());
    assert!(!store.delete_session(&[2; 32]).await.unwrap());
    assert_eq!(store.delete_sessions_of("person:a").await.unwrap(), 0);
}

#[tokio::test]
async fn tokens_are_named_once_a_person() {
    let s = Place::new().await;
    let store = &s.store;
    let mut row = TokenRow {
        token_hash: vec![1; 32],
        person: "person:a".into(),
        name: "scanner".into(),
        created_at: "2031-05-01T08:00:00Z".into(),
        last_used_at: None,
        expires_at: None,
    };
    store.create_token(row.clone()).await.unwrap();
    let twin = TokenRow {
        token_hash: vec![2; 32],
        ..row.clone()
    };
    assert!(matches!(
        store.create_token(twin).await,
        Err(StoreError::Refused(_))
    ));
    assert!(
        store
            .touch_token(&[1; 32], "2031-05-02T08:00:00Z")
            .await
            .unwrap()
    );
    row.last_used_at = Some("2031-05-02T08:00:00Z".into());
    assert_eq!(store.token(&[1; 32]).await.unwrap(), Some(row.clone()));
    assert_eq!(store.tokens_of("person:a").await.unwrap(), [row]);
    assert!(store.delete_token("person:a", "scanner").await.unwrap());
    assert!(!store.delete_token("person:a", "scanner").await.unwrap());
    assert!(store.token(&[1; 32]).await.unwrap().is_none());
}
