"""Small upright plates with a curved top: blanks for nut and saddle."""
