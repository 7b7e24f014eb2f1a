# The mast falls silent and speaks again.
start hill coarse
1 min calm
1 min mast silent
  11:02 driver: Check hill: cannot see wind
    The watch cannot see all of it. Take a reading at boom height, or stop.
    Wind unknown: no value to rely on; see to mast.
    Also gust unknown: no value to rely on; see to mast; inversion unknown: no value to rely on; see to mast.
    Job: coarse, about 41 min of spraying left.
    Nobody has reported the wind for 16 min.
  11:02 mate: Mida hill: sin datos de viento. La vigilancia no ve todo. Mida a la altura de la barra o pare. Decide la etiqueta.
3 min mast silent
2 min calm
  11:07 driver: All clear hill: measured again
    Measured again.
    Job: coarse, about 36 min of spraying left.
    Wind measured by mast 1 min ago.
  11:07 mate: Puede seguir hill: ya hay datos. Ya hay datos. Trabajo: coarse, quedan unos 36 min de pulverizacion. Decide la etiqueta.
not Stop hill|Pare hill
not forecast wind
most 2 driver
most 2 mate
most 0 helper
