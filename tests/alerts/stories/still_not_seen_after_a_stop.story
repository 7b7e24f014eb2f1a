# Stopped and not all seen: what is still not seen is told when the stop is over.
start hill coarse
1 min calm
1 min no humidity, windy
  11:02 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Also Delta T unknown: no value to rely on; see to mast.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
9 min no humidity
2 min no humidity
  11:13 driver: Check hill: cannot see Delta T
    The watch cannot see all of it. Take a reading at boom height, or stop.
    Delta T unknown: no value to rely on; see to mast.
    Job: coarse, about 30 min of spraying left.
    Wind measured by mast 1 min ago.
  11:13 mate: Mida hill: sin datos de Delta T. La vigilancia no ve todo. Mida a la altura de la barra o pare. Decide la etiqueta.
2 min calm
  11:15 driver: All clear hill: measured again
    Measured again.
    Job: coarse, about 28 min of spraying left.
    Wind measured by mast 1 min ago.
  11:15 mate: Puede seguir hill: ya hay datos. Ya hay datos. Trabajo: coarse, quedan unos 28 min de pulverizacion. Decide la etiqueta.
not Get ready
most 3 driver
most 3 mate
most 0 helper
