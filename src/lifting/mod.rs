//! How a mark was lifted and which way round its image reads.
