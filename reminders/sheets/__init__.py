"""Sheets on paper: what the patient takes home, what a held skin screen says, the plan and the record of a tape."""
