//! Pages and the interface for programs.
//!
//! Reading order: [`mod@router`] (all routes), [`session`] (around every page), [`form`] and [`pages::act`] (from a form to a
//! command), then the pages, one noun each. The interface for programs is [`api`].

pub mod api;
pub mod app;
pub mod assets;
pub mod draw;
pub mod error;
pub mod form;
pub mod frame;
pub mod health;
pub mod label_form;
pub mod live;
pub mod pace;
pub mod pages;
pub mod path;
pub mod router;
pub mod sent_field;
pub mod server;
pub mod session;
pub mod tls;
pub mod turn;
pub mod watch;

pub use app::App;
pub use router::router;
pub use server::{Serving, serve};
