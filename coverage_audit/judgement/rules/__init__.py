"""One file a rule: a record, its documentation and a pure check; the catalogue lists them all."""
