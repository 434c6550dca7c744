"""The database: audits, findings, pinned identities and which manifests are kept."""
