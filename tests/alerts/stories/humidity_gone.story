# The hygrometer fails: what cannot be seen is named, and its end is told.
start hill coarse
1 min calm
6 min no humidity
  11:02 driver: Check hill: cannot see Delta T
    The watch cannot see all of it. Take a reading at boom height, or stop.
    Delta T unknown: no value to rely on; see to mast.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Mida hill: sin datos de Delta T. La vigilancia no ve todo. Mida a la altura de la barra o pare. Decide la etiqueta.
  11:07 helper: Check hill: cannot see Delta T. mate has not acknowledged this for 5 min. Label decides.
12 min calm
  11:09 driver: All clear hill: measured again
    Measured again.
    Job: coarse, about 34 min of spraying left.
    Wind measured by mast 1 min ago.
  11:09 mate: Puede seguir hill: ya hay datos. Ya hay datos. Trabajo: coarse, quedan unos 34 min de pulverizacion. Decide la etiqueta.
not (?i)too windy|too dry
most 2 driver
most 2 mate
most 1 helper
