//! Checks against programs and libraries that we did not write; `tests/run` installs them. A missing one is a failure.
#![allow(clippy::unwrap_used)]

#[path = "outside/afis.rs"]
mod afis;
#[path = "app/afis_bench.rs"]
mod afis_bench;
#[path = "app/boatyard.rs"]
mod boatyard;
#[path = "outside/browser/mod.rs"]
mod browser;
#[path = "outside/bundles.rs"]
mod bundles;
#[path = "outside/flips.rs"]
mod flips;
#[path = "outside/images.rs"]
mod images;
#[path = "disclosure/sample.rs"]
mod itl_sample;
#[path = "outside/labels.rs"]
mod labels;
#[path = "outside/ledger_labels.rs"]
mod ledger_labels;
#[path = "outside/libraries.rs"]
mod libraries;
#[path = "app/load.rs"]
mod load;
#[path = "outside/openapi.rs"]
mod openapi;
#[path = "outside/postgres/mod.rs"]
mod postgres;
#[path = "outside/provenance.rs"]
mod provenance;
#[path = "outside/report.rs"]
mod report;
#[path = "reports/sample.rs"]
mod reports_sample;
#[path = "outside/sampling.rs"]
mod sampling;
#[path = "app/served.rs"]
mod served;
