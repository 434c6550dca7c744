"""The rules, one file each; `catalogue` lists them."""
