# Two causes a minute apart: one stop.
start hill coarse
1 min calm
1 min dry
  11:02 driver: Stop hill: too dry, Delta T 32.5 °F
    Stop spraying now.
    Delta T 32.5 °F, at most 14.4 °F (own): 18.1 °F over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: muy seco, Delta T 32.5 F. Deje de aplicar ya. Delta T 32.5 F, maximo 14.4 F (propio): 18.1 F de mas. Decide la etiqueta.
5 min dry and windy
  11:07 helper: Stop hill: too dry, Delta T 32.5 F. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
not (?i)too windy
most 1 driver
most 1 mate
most 1 helper
