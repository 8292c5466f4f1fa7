//! The interface for programs, over the demo: its description, who may, the whole story, and what hostile senders get.

mod answers;
mod describe;
mod hostile;
mod roles;
pub mod server;
mod story;

use super::browser;
use server::Server;

/// One loading for most: drawing the demo's pictures takes its time.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_interface_for_programs() {
    let server = Server::begin().await;
    roles::nobody_is_let_in_without_a_token(&server).await;
    roles::each_role_may_what_the_table_says(&server).await;
    roles::a_token_makes_no_tokens(&server).await;
    roles::a_cookie_needs_the_token_of_its_forms(&server).await;
    roles::a_restricted_case_is_closed_and_its_reading_recorded(&server).await;
    describe::every_answer_fits_its_schema(&server).await;
    answers::a_finding_is_answered_and_answered_again(&server).await;
    answers::answers_in_a_restricted_case(&server).await;
    story::from_the_scene_to_court(&server).await;
    story::a_command_is_carried_out_once(&server).await;
    story::proofs_hold(&server).await;
    hostile::what_cannot_be_read_is_said(&server).await;
    hostile::advice_is_refused_for_what_there_is_not(&server).await;
    hostile::a_lot_is_recalled_and_a_kit_is_ones_own(&server).await;
}

/// The longest of all: beside the others.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn hostile_senders_break_nothing() {
    let server = Server::begin().await;
    hostile::nothing_breaks_the_server(&server).await;
}
