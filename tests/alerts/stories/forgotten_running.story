# A job that runs far over its time is asked about three times, two hours apart.
start hill coarse
80 min calm
  12:13 driver: Still spraying hill?
    The job on hill was planned to end at 11:42, 30 min ago.
    Finish or abandon it if it is done: the watch goes on watching it until then.
  12:13 mate: ¿Aun pulveriza hill? El trabajo en hill debia acabar a las 11:42, hace 30 min. Decide la etiqueta.
120 min calm
  14:15 driver: Still spraying hill?
    The job on hill was planned to end at 11:42, 2.5 h ago.
    Finish or abandon it if it is done: the watch goes on watching it until then.
  14:15 mate: ¿Aun pulveriza hill? El trabajo en hill debia acabar a las 11:42, hace 2.5 h. Decide la etiqueta.
120 min calm
  16:15 driver: Still spraying hill?
    The job on hill was planned to end at 11:42, 4.5 h ago.
    Finish or abandon it if it is done: the watch goes on watching it until then.
  16:15 mate: ¿Aun pulveriza hill? El trabajo en hill debia acabar a las 11:42, hace 4.5 h. Decide la etiqueta.
130 min calm
not Stop|Pare hill
most 3 driver
most 3 mate
most 0 helper
