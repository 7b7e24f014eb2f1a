# Too dry for a while: the other limits stay out of it.
start hill coarse
1 min calm
8 min dry
  11:02 driver: Stop hill: too dry, Delta T 32.5 °F
    Stop spraying now.
    Delta T 32.5 °F, at most 14.4 °F (own): 18.1 °F over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: muy seco, Delta T 32.5 F. Deje de aplicar ya. Delta T 32.5 F, maximo 14.4 F (propio): 18.1 F de mas. Decide la etiqueta.
  11:07 helper: Stop hill: too dry, Delta T 32.5 F. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
12 min calm
  11:20 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 23 min of spraying left.
    Wind measured by mast 1 min ago.
  11:20 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 23 min de pulverizacion. Decide la etiqueta.
not (?i)too windy|gusts
most 2 driver
most 2 mate
