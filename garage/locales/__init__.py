"""How each locale writes days and times: one long form and one short one, on screens and papers alike."""
