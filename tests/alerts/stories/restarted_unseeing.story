# The watch restarts while the mast is silent: what was told stays told.
start hill coarse
1 min calm
4 min mast silent
  11:02 driver: Check hill: cannot see wind
    The watch cannot see all of it. Take a reading at boom height, or stop.
    Wind unknown: no value to rely on; see to mast.
    Also gust unknown: no value to rely on; see to mast; inversion unknown: no value to rely on; see to mast.
    Job: coarse, about 41 min of spraying left.
    Nobody has reported the wind for 16 min.
  11:02 mate: Mida hill: sin datos de viento. La vigilancia no ve todo. Mida a la altura de la barra o pare. Decide la etiqueta.
restarted
5 min mast silent
  11:07 helper: Check hill: cannot see wind. mate has not acknowledged this for 5 min. Label decides.
12 min calm
  11:12 driver: All clear hill: measured again
    Measured again.
    Job: coarse, about 31 min of spraying left.
    Wind measured by mast 1 min ago.
  11:12 mate: Puede seguir hill: ya hay datos. Ya hay datos. Trabajo: coarse, quedan unos 31 min de pulverizacion. Decide la etiqueta.
not (?i)stop spraying now|suitable
most 2 driver
most 2 mate
most 1 helper
