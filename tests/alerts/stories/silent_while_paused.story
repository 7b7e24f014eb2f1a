# The mast falls silent in a pause: it is told when somebody sprays again without it.
start hill coarse
1 min calm
pause
20 min mast silent
resume
3 min mast silent
  11:22 driver: Check hill: cannot see wind
    The watch cannot see all of it. Take a reading at boom height, or stop.
    Wind unknown: no value to rely on; see to mast.
    Also gust unknown: no value to rely on; see to mast; inversion unknown: no value to rely on; see to mast.
    Job: coarse, about 41 min of spraying left.
    Nobody has reported the wind for 16 min.
  11:22 mate: Mida hill: sin datos de viento. La vigilancia no ve todo. Mida a la altura de la barra o pare. Decide la etiqueta.
12 min calm
  11:26 driver: All clear hill: measured again
    Measured again.
    Job: coarse, about 37 min of spraying left.
    Wind measured by mast 1 min ago.
  11:26 mate: Puede seguir hill: ya hay datos. Ya hay datos. Trabajo: coarse, quedan unos 37 min de pulverizacion. Decide la etiqueta.
not (?i)stop spraying now|suitable
most 2 driver
most 2 mate
