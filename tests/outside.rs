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
#[path = "outside/bucket.rs"]
mod bucket;
#[path = "outside/bundles.rs"]
mod bundles;
#[path = "outside/by_chance.rs"]
mod by_chance;
#[path = "outside/continuity.rs"]
mod continuity;
#[path = "outside/cosigned.rs"]
mod cosigned;
#[path = "outside/court.rs"]
mod court;
#[path = "app/court_file.rs"]
mod court_file;
#[path = "outside/faults.rs"]
mod faults;
#[path = "outside/flips.rs"]
mod flips;
#[path = "app/histories.rs"]
mod histories;
#[path = "outside/images.rs"]
mod images;
#[path = "outside/import.rs"]
mod import;
#[path = "disclosure/sample.rs"]
mod itl_sample;
#[path = "outside/label_photos.rs"]
mod label_photos;
#[path = "outside/labels.rs"]
mod labels;
#[path = "outside/ledger_labels.rs"]
mod ledger_labels;
#[path = "outside/libraries.rs"]
mod libraries;
#[path = "app/load.rs"]
mod load;
#[path = "app/model/mod.rs"]
mod model;
#[path = "app/narrow.rs"]
mod narrow;
#[path = "outside/openapi.rs"]
mod openapi;
#[path = "app/ordered.rs"]
mod ordered;
#[path = "imaging/photo.rs"]
mod photo;
#[path = "outside/postgres/mod.rs"]
mod postgres;
#[path = "outside/provenance.rs"]
mod provenance;
#[path = "outside/report.rs"]
mod report;
#[path = "reports/sample.rs"]
mod reports_sample;
#[path = "app/room.rs"]
mod room;
#[path = "outside/sampling.rs"]
mod sampling;
#[path = "app/served.rs"]
mod served;
#[path = "outside/signed.rs"]
mod signed;
#[path = "app/tell.rs"]
#[allow(dead_code)]
mod tell;
#[path = "outside/tls.rs"]
mod tls;
#[path = "outside/zone.rs"]
mod zone;
